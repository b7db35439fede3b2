import type { Fitted } from '../contract/car.ts'
import type { AdviceState } from './partPaths.ts'
import { type Band, stateCost } from './planCost.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

/** Distance outside the bands that a run showed, in half widths, over all states it saw. */
function measuredCost(entry: ObservedRun, bands: ReadonlyMap<AdviceState, Band>): number {
  let cost = 0
  for (const [state, band] of bands) {
    const seen = entry.logLambda[state]
    if (seen) cost += stateCost(state, { mean: seen.mean, sd: Math.hypot(seen.se, entry.daySd ?? 0) }, band)
  }
  return cost
}

/** How much better, in chance and half widths of a band, an earlier set must have measured to be fitted again. Chosen here. */
const WORTH_GOING_BACK = 0.7

/** Sets of parts that were driven and found no better than today's: they are not proposed again. */
export function barredSets(observed: readonly ObservedRun[], bands: ReadonlyMap<AdviceState, Band>) {
  const newest = observed[observed.length - 1]
  const now = measuredCost(newest, bands)
  const worse = observed
    .slice(0, -1)
    .filter(
      (entry) =>
        !isSameFitted(entry.fitted, newest.fitted) && measuredCost(entry, bands) > now - WORTH_GOING_BACK,
    )
  return (fitted: Fitted) =>
    worse.some((entry) => isSameFitted(entry.fitted, fitted) && isSameFitted(fitted, entry.fitted))
}
