import { medianOf } from '../numeric/average.ts'
import type { RegressorRows } from './mixtureRegressors.ts'

/**
 * When the fuel stops in an overrun, or no longer burns, is the engine's own affair: at once or most of a second later. Gas drawn in this soon after
 * an overrun began tells nothing of the delay, s. What comes later, and how it ends, does. Chosen here.
 */
const UNTOLD_S = 1

/** What each row counts for in the search of the delay: 0 in the first part of an overrun, which would be taken for the pipe's delay, else 1. */
export function weighRows({ rows, stepS }: RegressorRows, inOverrun: Uint8Array): Float64Array {
  const weightOf = new Float64Array(rows)
  let sinceS = 0
  for (let row = 0; row < rows; row++) {
    const goesOn = row > 0 && inOverrun[row - 1] === 1 && stepS[row] < Number.POSITIVE_INFINITY
    sinceS = inOverrun[row] === 1 && goesOn ? sinceS + stepS[row] : 0
    weightOf[row] = inOverrun[row] === 1 && sinceS < UNTOLD_S ? 0 : 1
  }
  return weightOf
}

/** A window in which the model leaves over this many times the usual square per row counts half. Chosen here. */
const ODD_TIMES = 6

/**
 * Lowers `weightOf`, the weights under which `left` is what the model leaves over, in windows where that is far more than in the usual one: a misfire, a
 * slip of the clutch or a spike must not outweigh all the rest of a drive. Heavy tails as of Student's distribution; weights in place.
 */
export function weighOddWindows(
  { rows, windowOf }: RegressorRows,
  left: Float64Array,
  weightOf: Float64Array,
): void {
  const squares: { from: number; to: number; perRow: number }[] = []
  for (let from = 0; from < rows; ) {
    let to = from
    let square = 0
    let counted = 0
    for (; to < rows && windowOf[to] === windowOf[from]; to++) {
      if (weightOf[to] === 0) continue
      square += (left[to] / weightOf[to]) ** 2
      counted++
    }
    if (counted > 0) squares.push({ from, to, perRow: square / counted })
    from = to
  }
  const usual = medianOf(squares.map(({ perRow }) => perRow))
  if (!(usual > 0)) return
  for (const { from, to, perRow } of squares) {
    const weight = Math.sqrt(Math.min(1, (ODD_TIMES + 1) / (ODD_TIMES + perRow / usual)))
    for (let row = from; row < to; row++) weightOf[row] *= weight
  }
}
