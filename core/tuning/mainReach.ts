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

/** Steady seconds of a state in a run, clear of idle's flow, that are enough to stand for the state alone. Chosen here. */
const ENOUGH_CLEAR_S = 10

/**
 * The rows without those of a running state so close to idle's air flow that the idle circuit still feeds them, in each run and state that
 * has enough of the others: they tell of the transfer, and a light car in traffic spends half its cruise there.
 */
export function clearOfIdle(rows: readonly LevelRow[]): LevelRow[] {
  const reach = mainReach(rows)
  const clearS = new Map<string, number>()
  const keyOf = (row: LevelRow) => `${row.run}/${row.state}`
  for (const [i, row] of rows.entries()) {
    if (reach[i] >= 1) clearS.set(keyOf(row), (clearS.get(keyOf(row)) ?? 0) + row.seconds)
  }
  return rows.filter(
    (row, i) => row.state === 'idle' || reach[i] >= 1 || !((clearS.get(keyOf(row)) ?? 0) >= ENOUGH_CLEAR_S),
  )
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
