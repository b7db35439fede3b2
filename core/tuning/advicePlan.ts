import type { Change } from '../contract/advice.ts'
import type { Fitted } from '../contract/car.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import type { AdviceStanding } from './adviceStanding.ts'
import { describeChange } from './adviseChange.ts'
import { chooseStep, type Step } from './chooseStep.ts'
import { choicesForLateValve } from './lateValve.ts'
import { type Choices, choicesOf } from './planChanges.ts'

/** The sizes at hand and what of them to fit. */
export interface Plan {
  readonly choices: Choices
  readonly chosen: Step
}

export function planOf(
  { newest, box, observed, car, record }: AdviceEvidence,
  { model, known, step, isValveLate }: AdviceStanding,
): Plan {
  // Upon a record that does not fit no part is named.
  const atHand: Choices = record.unclear
    ? new Map()
    : choicesOf(newest.fitted, box, model, step !== undefined, car?.circuits)
  const choices = isValveLate ? choicesForLateValve(atHand, model, known) : atHand
  const chosen = chooseStep(model, known, choices, observed)
  // Where that would change nothing, full load is not left as it is for want of the right part.
  if (chosen.plan.changed.length > 0 || choices === atHand) return { choices, chosen }
  return { choices: atHand, chosen: chooseStep(model, known, atHand, observed) }
}

/** The plan's changes in their order, each described upon those before it. */
export function steadyChanges(
  { newest, observed, unit, boreUnit, flowRatios }: AdviceEvidence,
  { model, known, step }: AdviceStanding,
  { choices, chosen }: Plan,
): Change[] {
  const changes: Change[] = []
  let before = newest.fitted
  for (const { part, to, isSafer, madeFor } of chosen.changes) {
    const after: Fitted = { ...before, [part]: to }
    changes.push(
      describeChange({
        model,
        bands: known,
        part,
        before,
        after,
        observed,
        isSafer,
        step,
        choices,
        madeFor,
        unit,
        boreUnit,
        flowRatios,
      }),
    )
    before = after
  }
  return changes
}
