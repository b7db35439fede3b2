import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { sureThrottlePct } from '../engine/operatingState.ts'
import { defaultStateLimits } from '../engine/stateLimits.ts'

/**
 * The run's steady pieces whose state is sure enough to choose parts by. Where the throttle alone tells the load, a car with a wide carburettor
 * cruises at an opening that loads another one: there only a throttle that loads every car is taken for power.
 */
export function surePieces(run: RunAnalysis, car: CarProfile | undefined): SteadyPiece[] {
  if (run.result.map.load_channel !== 'throttle') return run.pieces
  const limits = { ...defaultStateLimits, ...car?.state_limits }
  return run.pieces.filter(
    ({ state, throttlePct, rpm }) => state !== 'power' || !(throttlePct < sureThrottlePct(limits, rpm)),
  )
}
