import type { TraceAnswer } from '../worker/messages.ts'

type ShownColumn = (number | null | undefined)[]

/** One strip's columns in the form that the chart takes: `null` is a gap, `undefined` no sample on this base. */
export interface StripData {
  data: [Float64Array, ...ShownColumn[]]
  /** Of the first column. */
  least: number
  most: number
}

/** The one place where the worker's codes (NaN gap, Infinity no sample) become the chart's. A column of index −1, not answered yet, has no sample. */
export function stripData(
  answer: TraceAnswer,
  indexes: readonly number[],
  convert: (value: number) => number,
): StripData {
  const columns = indexes.map((index) =>
    index < 0
      ? new Array<undefined>(answer.timeS.length).fill(undefined)
      : shownColumn(answer.values[index], convert),
  )
  let least = Number.NaN
  let most = Number.NaN
  for (const value of columns[0]) {
    if (value == null) continue
    if (!(least <= value)) least = value
    if (!(most >= value)) most = value
  }
  return { data: [answer.timeS, ...columns], least, most }
}

function shownColumn(values: Float32Array, convert: (value: number) => number): ShownColumn {
  const shown: ShownColumn = new Array(values.length)
  for (let i = 0; i < values.length; i++) {
    const value = values[i]
    if (value === Number.POSITIVE_INFINITY) shown[i] = undefined
    else if (Number.isNaN(value)) shown[i] = null
    else shown[i] = convert(value)
  }
  return shown
}
