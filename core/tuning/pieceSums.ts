import type { MixtureState, SteadyPiece } from '../contract/result.ts'
import type { PointHistory } from '../engine/pointHistory.ts'

/** Sums over the moments of the steady piece that is being gathered; times seconds but for the times themselves. */
export interface PieceSums {
  seconds: number
  standsForS: number
  doubtS: number
  startS: number
  lastS: number
  lambda: number
  rpm: number
  load: number
  map: number
  throttle: number
  coolant: number
  barometer: number
  intake: number
  speed: number
  weight: number
}

export const emptySums = (): PieceSums => ({
  seconds: 0,
  standsForS: 0,
  doubtS: 0,
  startS: 0,
  lastS: 0,
  lambda: 0,
  rpm: 0,
  load: 0,
  map: 0,
  throttle: 0,
  coolant: 0,
  barometer: 0,
  intake: 0,
  speed: 0,
  weight: 0,
})

/** Adds a moment that was read, and the unread seconds before it for which it stands. No allocation. */
export function addMoment(
  sums: PieceSums,
  history: PointHistory,
  at: number,
  lambda: number,
  dtS: number,
  unreadS: number,
  isInDoubt: boolean,
): void {
  const t = history.timeS[at]
  if (sums.weight === 0) sums.startS = t
  sums.lastS = t
  sums.seconds += dtS
  sums.standsForS += dtS + unreadS
  if (isInDoubt) sums.doubtS += dtS
  sums.weight += dtS
  sums.lambda += lambda * dtS
  sums.rpm += history.rpm[at] * dtS
  sums.load += history.load[at] * dtS
  sums.map += history.mapKpa[at] * dtS
  sums.throttle += history.throttlePct[at] * dtS
  sums.coolant += history.coolantC[at] * dtS
  sums.barometer += history.barometerKpa[at] * dtS
  sums.intake += history.intakeAirC[at] * dtS
  sums.speed += history.roadSpeedMs[at] * dtS
}

/** The piece of these sums. Call only when something was added. */
export function pieceOf(sums: PieceSums, bank: 1 | 2, state: MixtureState, visit: number): SteadyPiece {
  const w = sums.weight
  return {
    bank,
    state,
    visit,
    timeS: (sums.startS + sums.lastS) / 2,
    seconds: sums.seconds,
    standsForS: sums.standsForS,
    doubtS: sums.doubtS,
    lambda: sums.lambda / w,
    rpm: sums.rpm / w,
    load: sums.load / w,
    manifoldKpa: sums.map / w,
    throttlePct: sums.throttle / w,
    coolantC: sums.coolant / w,
    barometerKpa: sums.barometer / w,
    intakeAirC: sums.intake / w,
    roadSpeedMs: sums.speed / w,
  }
}
