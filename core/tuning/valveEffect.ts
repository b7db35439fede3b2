import type { Fitted } from '../contract/car.ts'
import { type EnrichmentStep, valveShift } from './enrichmentStep.ts'
import { type AdviceState, valveOf } from './partPaths.ts'
import type { Forecast } from './responseModel.ts'
import type { ObservedRun } from './runObservations.ts'

/** True when both sets open the enrichment at the same vacuum. */
export function isSameValve(a: Fitted, b: Fitted): boolean {
  return valveOf(a)?.opensInHg === valveOf(b)?.opensInHg
}

/** How far the computed effect of another valve may be wrong: it rests on one step and today's roads. */
const VALVE_DOUBT = 0.4

/** Log λ that another opening vacuum adds to a state against today's, with its doubt. */
export function extraShiftOf(
  state: AdviceState,
  fitted: Fitted,
  newest: ObservedRun,
  step: EnrichmentStep | undefined,
): Forecast {
  const to = valveOf(fitted)?.opensInHg
  const from = valveOf(newest.fitted)?.opensInHg
  if (to === undefined || from === undefined || to === from) return { mean: 0, sd: 0 }
  // Without a step in the data another valve's effect is only known to be some.
  if (!step) return { mean: 0, sd: state === 'part_throttle' || state === 'power' ? 0.03 : 0.01 }
  const mean = valveShift(newest.run.pieces, state, step, to - from)
  return { mean, sd: VALVE_DOUBT * Math.abs(mean) + 0.002 }
}
