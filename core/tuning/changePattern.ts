import type { Fitted } from '../contract/car.ts'
import type { LevelRow } from './levelRows.ts'
import { mainReach } from './mainReach.ts'
import { type AdviceState, adviceStates, type FuelPath, fuelPaths, pathFactor } from './partPaths.ts'

/** How far each row's log λ is expected to move, scaled to a largest of 1; its sign says nothing of richer or leaner. */
export interface RowPattern {
  readonly ofRow: Float64Array
  /** True when the records say what was changed; else the main circuit is looked at. */
  readonly isKnown: boolean
}

/** Change of area, as a share, below which a part counts as the same. */
const LEAST_CHANGE = 0.002
/**
 * Where to look for a change of parts: each row's expected shift, from the shares of the paths that the two records differ in, else from
 * the main circuit's. Close to idle's air flow the idle circuit still feeds, whatever the state is called.
 */
export function rowPattern(
  rows: readonly LevelRow[],
  a: Fitted | undefined,
  b: Fitted | undefined,
): RowPattern {
  const moved = a && b ? movedPaths(a, b) : []
  const isKnown = moved.length > 0
  const main = fuelPaths.filter((path) => path.id === 'main').map((path) => ({ path, moveIn: () => 1 }))
  const reachOf = mainReach(rows)
  const ofRow = Float64Array.from(rows, (row, i) => {
    const state = row.state as AdviceState
    const reach = reachOf[i]
    let shift = 0
    for (const { path, moveIn } of isKnown ? moved : main) {
      const share = (1 - reach) * (path.share.idle?.[0] ?? 0) + reach * (path.share[state]?.[0] ?? 0)
      shift += share * moveIn(state)
    }
    return shift
  })
  const most = ofRow.reduce((max, value) => Math.max(max, Math.abs(value)), 0)
  if (most > 0) for (let i = 0; i < ofRow.length; i++) ofRow[i] /= most
  return { ofRow, isKnown }
}

function movedPaths(a: Fitted, b: Fitted): { path: FuelPath; moveIn: (state: AdviceState) => number }[] {
  const moved = []
  for (const path of fuelPaths) {
    const moveIn = (state: AdviceState) => {
      const factor = pathFactor(path, a, b, state)
      return Number.isFinite(factor) && Math.abs(factor - 1) > LEAST_CHANGE
        ? path.sense * Math.log(factor)
        : 0
    }
    if (adviceStates.some((state) => moveIn(state) !== 0)) moved.push({ path, moveIn })
  }
  return moved
}
