import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { stateLimits } from '../engine/stateLimits.ts'
import { sureThrottlePct } from '../engine/throttleLoad.ts'
import { chokeFedUntilS, withoutChokeFuel, withoutColdPower } from './chokeFuel.ts'
import { drivenPieces } from './drivenPieces.ts'

/**
 * The run's steady pieces whose state is sure enough to choose parts by. Where the throttle alone tells the load, a car with a wide carburettor
 * cruises at an opening that loads another one: there only a throttle that loads every car is taken for power. While a late choke still feeds,
 * none is: its fuel would be laid to the jets.
 */
export function surePieces(run: RunAnalysis, car: CarProfile | undefined): SteadyPiece[] {
  const warm = withoutColdPower(drivenPieces(run.pieces), car)
  const pieces = withoutChokeFuel(warm, chokeFedUntilS(run, car), car)
  if (run.result.map.load_channel !== 'throttle') return pieces
  const limits = stateLimits(car?.state_limits)
  const need = run.result.run.learned?.throttle_need ?? 1
  return pieces.filter(
    ({ state, throttlePct, rpm }) => state !== 'power' || !(throttlePct < sureThrottlePct(limits, rpm, need)),
  )
}
