import type { LevelRow } from './levelRows.ts'

/**
 * Air flow, as a multiple of idle's, from which the main nozzle begins to feed and from which it feeds as in its state. Between, the
 * transfer slots hand over. Common practice, no source.
 */
const MAIN_BEGINS = 1.2
const MAIN_RULES = 2

/**
 * How far the main circuit rules in each row, 0…1, by its air flow against idle's: close to idle's flow the idle circuit still feeds,
 * whatever the state is called. 0 at idle; 1 where speed, load or idle is not known.
 */
export function mainReach(rows: readonly LevelRow[]): Float64Array {
  const idleFlow = idleFlowOf(rows)
  return Float64Array.from(rows, (row) => {
    if (row.state === 'idle') return 0
    const flow = (row.rpm * row.load) / idleFlow
    if (!Number.isFinite(flow)) return 1
    return Math.min(1, Math.max(0, (flow - MAIN_BEGINS) / (MAIN_RULES - MAIN_BEGINS)))
  })
}

/** Time-weighted mean of idle's speed × load; NaN without idle. */
function idleFlowOf(rows: readonly LevelRow[]): number {
  let sum = 0
  let seconds = 0
  for (const row of rows) {
    if (row.state !== 'idle' || !Number.isFinite(row.rpm * row.load)) continue
    sum += row.seconds * row.rpm * row.load
    seconds += row.seconds
  }
  return sum / seconds
}
