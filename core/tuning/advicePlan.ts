import type { Change } from '../contract/advice.ts'
import type { Fitted } from '../contract/car.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import type { AdviceStanding } from './adviceStanding.ts'
import { describeChange } from './adviseChange.ts'
import { chooseStep, type Step } from './chooseStep.ts'
import { choicesForEarlyValve } from './earlyValve.ts'
import { choicesForLateValve } from './lateValve.ts'
import { findMissingSizes } from './missingSizes.ts'
import type { AdviceState } from './partPaths.ts'
import { type Choices, choicesOf } from './planChanges.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** The sizes at hand and what of them to fit. */
export interface Plan {
  readonly choices: Choices
  readonly chosen: Step
}

export function planOf(
  { newest, box, observed, car, record }: AdviceEvidence,
  { model, known, step, isValveLate, earlyValve }: AdviceStanding,
): Plan {
  // Upon a record that does not fit no part is named.
  const atHand: Choices = record.unclear
    ? new Map()
    : choicesOf(newest.fitted, box, model, step !== undefined, car?.circuits)
  const forValve = isValveLate
    ? choicesForLateValve
    : earlyValve === 'box_has_later'
      ? choicesForEarlyValve
      : undefined
  const choices = forValve ? forValve(atHand, model, known) : atHand
  const chosen = withoutMakeshift(chooseStep(model, known, choices, observed), choices)
  // Where that would change nothing, full load is not left as it is for want of the right part.
  if (chosen.plan.changed.length > 0 || choices === atHand) return { choices, chosen }
  return { choices: atHand, chosen: withoutMakeshift(chooseStep(model, known, atHand, observed), atHand) }

  /**
   * What makes worse a state that is off already, for want of the right size for another, waits for that size. Not so screws, which are set again in a
   * minute: they may make worse what is not theirs.
   */
  function withoutMakeshift(step: Step, sizes: Choices): Step {
    const idle = new Map([...known].filter(([state]) => state === 'idle'))
    const isMakeshift = (fitted: Fitted) =>
      worsens(model, idle, fitted) || worsens(model, known, withScrewsOf(newest.fitted, fitted))
    if (!isMakeshift(step.plan.fitted)) return step
    const careful = chooseStep(model, known, sizes, observed, isMakeshift)
    return findMissingSizes(model, known, sizes, careful.plan, box).length > 0 ? careful : step
  }
}

/** These parts, with the screws as they were before. */
function withScrewsOf(before: Fitted, fitted: Fitted): Fitted {
  const screws = Object.entries(before).filter(([, { turns }]) => turns !== undefined)
  return { ...fitted, ...Object.fromEntries(screws) }
}

/** Shift of log λ from which a state is held to be moved on from where it was. Chosen here. */
const WORSE_BY = 0.01

/** True where a state that is surely outside its band would come out still further on the same side. */
function worsens(model: ResponseModel, bands: ReadonlyMap<AdviceState, Band>, fitted: Fitted): boolean {
  return [...bands].some(([state, band]) => {
    const now = model.forecast(state, model.base)
    const then = model.forecast(state, fitted)
    if (!now || !then) return false
    const isRich = now.mean + 1.96 * now.sd < band.low
    const isLean = now.mean - 1.96 * now.sd > band.high
    return (isRich && then.mean < now.mean - WORSE_BY) || (isLean && then.mean > now.mean + WORSE_BY)
  })
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
