import type { Fitted, Part } from '../contract/car.ts'
import type { AdviceState } from './partPaths.ts'
import { type Choices, costOf, FELT_SHIFT, leavesPowerLean, type Plan, spoilsIdle } from './planChanges.ts'
import { type Band, leanExcess } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** Weight of a lean moment between two steps against the final result: it lasts one gentle drive. Chosen here. */
const SAFE_WEIGHT = 0.25

/** Chance-weighted distance by which a step alone would make power leaner beyond its band than it is, in half widths; 0 without power evidence. */
function leanRiskOf(model: ResponseModel, bands: ReadonlyMap<AdviceState, Band>, fitted: Fitted): number {
  const band = bands.get('power')
  const forecast = model.forecast('power', fitted)
  const now = model.forecast('power', model.base)
  if (!band || !forecast || !now || forecast.mean - now.mean < FELT_SHIFT) return 0
  return Math.max(0, leanExcess(forecast, band) - leanExcess(now, band))
}

/**
 * The size of the first part to change: the plan's, unless another in the box does nearly as well and leaves power less lean until the
 * later steps are made. How much worse it may be grows with the danger.
 */
export function safestSize(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  plan: Plan,
  part: string,
  isBarred: (fitted: Fitted) => boolean,
): { part: Part; isSafer: boolean } {
  const planned = plan.fitted[part]
  let best = planned
  let bestCost = Number.POSITIVE_INFINITY
  for (const size of choices.get(part)!) {
    if (size === model.base[part]) continue
    const alone = { ...model.base, [part]: size }
    if (isBarred(alone) && size !== planned) continue
    const whole = { ...plan.fitted, [part]: size }
    const isWorse = leavesPowerLean(model, bands, whole) || spoilsIdle(model, bands, whole)
    if (size !== planned && isWorse) continue
    const risk = leanRiskOf(model, bands, alone)
    const cost = costOf(model, bands, whole) + SAFE_WEIGHT * Math.min(risk, 3)
    if (cost < bestCost - 1e-9) {
      best = size
      bestCost = cost
    }
  }
  return { part: best, isSafer: best !== planned }
}
