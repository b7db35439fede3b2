import type { AdviceResult } from '../contract/advice.ts'
import type { Fitted } from '../contract/car.ts'
import { round } from './compareRuns.ts'
import { type AdviceState, fuelPaths } from './partPaths.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

/** Standard deviation, in half widths of the band, above which data cannot decide. */
export const TOO_WIDE = 0.6
/** Standard deviation, in half widths of the band, below which more driving tells little: the day and the air then rule. Chosen here. */
export const KNOWN_WELL = 0.17
/** Steady seconds below which a state is not judged. */
export const LEAST_SECONDS = 5
/** Share of a state's fuel from which a part is held to govern it. Chosen here. */
export const STRONG_SHARE = 0.1

/** True of full load over its band: what destroys pistons is believed from the first seconds on. */
export const isLeanPower = (state: AdviceState, now: { mean: number }, band: Band) =>
  state === 'power' && now.mean > band.high

/** How each state stands today: verdict, λ with its interval, chance inside the band. */
export function describeStates(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  observed: readonly ObservedRun[],
): AdviceResult['states'] {
  const states: AdviceResult['states'] = {}
  for (const [state, band] of bands) {
    const now = model.forecast(state, model.base)!
    const lambda = Math.exp(now.mean)
    const half = (band.high - band.low) / 2
    const seconds = secondsOf(observed, state)
    const isOutside = now.mean > band.high || now.mean < band.low
    const surelyOutside = now.mean - 1.96 * now.sd > band.high || now.mean + 1.96 * now.sd < band.low
    const isKnown =
      seconds >= LEAST_SECONDS
        ? surelyOutside || now.sd <= TOO_WIDE * half
        : surelyOutside && isLeanPower(state, now, band)
    states[state] = {
      verdict: !isKnown
        ? 'not_enough_data'
        : !isOutside
          ? 'on_target'
          : now.mean > band.high
            ? 'lean'
            : 'rich',
      lambda: round(lambda, 4),
      ci95: [round(Math.exp(now.mean - 1.96 * now.sd), 4), round(Math.exp(now.mean + 1.96 * now.sd), 4)],
      target: band.target.lambda,
      band: [round(Math.exp(band.low), 4), round(Math.exp(band.high), 4)],
      error: round(lambda - band.target.lambda, 4),
      inside: round(shareInside(now, band), 3),
      seconds: Math.round(seconds),
      fuel_factor: round(lambda / band.target.lambda, 4),
    }
  }
  return states
}

/** Distance of a state's estimate outside its band, in standard deviations; 0 inside. */
export function distanceOut(model: ResponseModel, state: AdviceState, band: Band): number {
  const now = model.forecast(state, model.base)
  if (!now) return 0
  return Math.max(0, now.mean - band.high, band.low - now.mean) / now.sd
}

/** Steady seconds of a state over the runs whose parts that govern it are today's. */
export function secondsOf(observed: readonly ObservedRun[], state: AdviceState): number {
  const newest = observed[observed.length - 1]
  const governing = fuelPaths.filter((path) => (path.share[state]?.[0] ?? 0) >= STRONG_SHARE)
  const partsOf = (fitted: Fitted) =>
    Object.fromEntries(
      governing
        .flatMap(({ part, rod }) => (rod ? [part, rod] : [part]))
        .flatMap((name) => (fitted[name] ? [[name, fitted[name]]] : [])),
    )
  return observed
    .filter((entry) => isSameFitted(partsOf(entry.fitted), partsOf(newest.fitted)))
    .reduce((sum, entry) => sum + (entry.seconds[state] ?? 0), 0)
}

/** True when a fitted part feeds a good part of the state, whether or not the box holds another size of it. */
export function canMove(model: ResponseModel, state: AdviceState): boolean {
  return model.paths.some((path) => (model.share(state, path.id)?.mean ?? 0) >= STRONG_SHARE)
}
