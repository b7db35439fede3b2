import type { TraceAnswer } from '../worker/messages.ts'

/** One strip's columns in the form that the chart takes: `null` is a gap, `undefined` no sample on this base. */
export interface StripData {
  name: string
  data: [Float64Array, (number | null | undefined)[]]
  least: number
  most: number
}

/** The one place where the worker's codes (NaN gap, Infinity no sample) become the chart's. */
export function stripData(answer: TraceAnswer, index: number, convert: (value: number) => number): StripData {
  const values = answer.values[index]
  const shown: (number | null | undefined)[] = new Array(values.length)
  let least = Number.NaN
  let most = Number.NaN
  for (let i = 0; i < values.length; i++) {
    const value = values[i]
    if (value === Number.POSITIVE_INFINITY) shown[i] = undefined
    else if (Number.isNaN(value)) shown[i] = null
    else {
      const converted = convert(value)
      shown[i] = converted
      if (!(least <= converted)) least = converted
      if (!(most >= converted)) most = converted
    }
  }
  return { name: answer.channels[index], data: [answer.timeS, shown], least, most }
}
