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
