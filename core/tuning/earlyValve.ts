import type { Box, Circuit, Fitted, Part } from '../contract/car.ts'
import { partWord } from './adviceText.ts'
import { AFTER_VALVE, areFine } from './lateValve.ts'
import { type AdviceState, hasCircuit, valveOf } from './partPaths.ts'
import type { Choices } from './planChanges.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** Share of part throttle that is fed by the enrichment from which its valve opens too early: nothing is left of part throttle then. Chosen here. */
const EARLY_SHARE = 0.9

/** True when the valve feeds part throttle as full load is fed. */
export const opensTooEarly = (fitted: Fitted, enriched: number) =>
  valveOf(fitted) !== undefined && enriched > EARLY_SHARE

/** True when the box has a valve that opens at less vacuum than the one fitted, of a circuit that the car has. */
export function hasLaterValve(fitted: Fitted, box: Box, circuits?: readonly Circuit[]): boolean {
  const valve = valveOf(fitted)
  if (!valve || !hasCircuit('power', circuits)) return false
  const isLater = ({ opens_inHg = Number.POSITIVE_INFINITY }: Part) => opens_inHg < valve.opensInHg
  return (box[valve.name] ?? []).some(isLater)
}

/** The sizes of a car whose valve opens too early: what is right at cruise and at full load is not made lean to make up for it. */
export function choicesForEarlyValve(
  choices: Choices,
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
): Choices {
  const left = new Map(choices)
  if (areFine(['power'], model, known)) for (const name of AFTER_VALVE) left.delete(name)
  if (areFine(['cruise'], model, known)) for (const name of ['main_jet', 'rod']) left.delete(name)
  return left
}

/** That the enrichment opens too early and the box has nothing for it, in a sentence. */
export function earlyValveSentence(fitted: Fitted, opensInHg: number): string {
  const name = partWord(valveOf(fitted)!.name)
  return `The enrichment opens at about ${opensInHg.toFixed(1)} inHg and feeds all of part throttle, which is therefore as rich as full load: a ${name} that opens at less vacuum is what it wants, and the box has none.`
}
