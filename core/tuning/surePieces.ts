import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { sureThrottlePct } from '../engine/operatingState.ts'
import { defaultStateLimits } from '../engine/stateLimits.ts'

/**
 * A choke that comes off late goes on feeding a warm engine: for so long, s, after its first warm moment nothing of the other circuits is known.
 * Common practice, no source.
 */
export const LATE_CHOKE_S = 600

/**
 * The run's steady pieces without full load on a cold engine. By its definition that is the power state all the same; but the choke, or the warm-up
 * enrichment of an injection, still feeds it, and no part may be chosen or compared by its fuel.
 */
export function withoutColdPower(pieces: readonly SteadyPiece[], car: CarProfile | undefined): SteadyPiece[] {
  const { warm_C } = limitsOf(car)
  return pieces.filter(({ state, coolantC }) => state !== 'power' || !(coolantC < warm_C))
}

/**
 * The run's steady pieces whose state is sure enough to choose parts by. Where the throttle alone tells the load, a car with a wide carburettor
 * cruises at an opening that loads another one: there only a throttle that loads every car is taken for power. While a late choke still feeds,
 * none is: its fuel would be laid to the jets.
 */
export function surePieces(run: RunAnalysis, car: CarProfile | undefined): SteadyPiece[] {
  const warm = withoutColdPower(run.pieces, car)
  const pieces = run.result.warm_up?.choke === 'late' ? withoutLateChoke(warm) : warm
  if (run.result.map.load_channel !== 'throttle') return pieces
  const limits = limitsOf(car)
  return pieces.filter(
    ({ state, throttlePct, rpm }) => state !== 'power' || !(throttlePct < sureThrottlePct(limits, rpm)),
  )
}

/** Limits of the states as the car's owner has set them. */
export const limitsOf = (car: CarProfile | undefined) => ({ ...defaultStateLimits, ...car?.state_limits })

function withoutLateChoke(pieces: readonly SteadyPiece[]): SteadyPiece[] {
  let warmFromS = Number.POSITIVE_INFINITY
  for (const { state, timeS } of pieces) {
    if (state !== 'warm_up' && timeS < warmFromS) warmFromS = timeS
  }
  return pieces.filter(({ state, timeS }) => state === 'warm_up' || timeS >= warmFromS + LATE_CHOKE_S)
}
