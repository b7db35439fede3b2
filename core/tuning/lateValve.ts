import { type AdviceState, openingOf, valveOf, valveParts } from './partPaths.ts'
import type { Choices } from './planChanges.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** What feeds full load beside or after the valve: larger, it would make the enriched part of full load too rich. */
export const AFTER_VALVE = ['power_restriction', 'secondary_jet', 'secondary_plate'] as const
/** Chance inside its band from which a state is no reason to change the main jet as well. Chosen here. */
const MAIN_FINE = 0.7

/**
 * The sizes that a car is given first whose valve opens within full load only: what is lean there before it opens is the valve's affair, so nothing after
 * it goes up. All sizes stay where the box has no valve that opens earlier.
 */
export function choicesForLateValve(
  choices: Choices,
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
): Choices {
  const opensInHg = valveOf(model.base)?.opensInHg ?? Number.POSITIVE_INFINITY
  const valves = valveParts.flatMap((name) => choices.get(name) ?? [])
  if (!valves.some((valve) => (valve.opens_inHg ?? 0) > opensInHg)) return choices
  const left = new Map(choices)
  for (const name of AFTER_VALVE) {
    const limit = openingOf(model.base[name], 'power')
    const sizes = choices.get(name)?.filter((part) => openingOf(part, 'power') <= limit) ?? []
    // The first is what is fitted.
    if (sizes.length > 1) left.set(name, sizes)
    else left.delete(name)
  }
  if (areFine(['cruise', 'part_throttle'], model, known)) left.delete('main_jet')
  return left
}

/** True when all of these states that were seen stand well. */
export function areFine(
  states: readonly AdviceState[],
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
): boolean {
  return states.every((state) => {
    const band = known.get(state)
    return !band || shareInside(model.forecast(state, model.base)!, band) >= MAIN_FINE
  })
}
