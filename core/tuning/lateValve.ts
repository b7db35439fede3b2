import type { Fitted } from '../contract/car.ts'
import { type AdviceState, valveParts } from './partPaths.ts'
import type { Choices } from './planChanges.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** What feeds full load only beside or after the valve: larger, it would make the enriched part of full load too rich. */
const AFTER_VALVE = ['power_restriction', 'secondary_jet', 'secondary_plate'] as const
/** Chance inside its band from which a state is no reason to change the main jet as well. Chosen here. */
const MAIN_FINE = 0.7

/**
 * The sizes at hand for a car whose valve opens within full load only: the part of full load that is lean before it opens is the valve's affair, so the
 * valve goes first. Without another valve in the box all sizes stay.
 */
export function choicesForLateValve(
  choices: Choices,
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
  fitted: Fitted,
): Choices {
  if (!valveParts.some((name) => choices.has(name))) return choices
  const left = new Map(choices)
  for (const name of AFTER_VALVE) left.delete(name)
  const isMainFine = (['cruise', 'part_throttle'] as const).every((state) => {
    const band = known.get(state)
    const forecast = band && model.forecast(state, fitted)
    return !band || !forecast || shareInside(forecast, band) >= MAIN_FINE
  })
  if (isMainFine) left.delete('main_jet')
  return left
}
