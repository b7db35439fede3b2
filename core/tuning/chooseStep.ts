import type { Fitted, Part } from '../contract/car.ts'
import { isLeanPower, KNOWN_WELL, LEAST_SECONDS, secondsOf, TOO_WIDE } from './adviceStates.ts'
import { lackingDrives, mayAskAgain } from './furtherDriving.ts'
import { type AdviceState, isSamePart } from './partPaths.ts'
import { type Choices, type Plan, planChanges } from './planChanges.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'
import { safestSize } from './safestSize.ts'
import { barredSets } from './triedParts.ts'

/** What to do next: the changes in their order, the first of them now; or the states that more driving must tell first. */
export interface Step {
  /** Every change of the plan with the states it is made for, the one to make now first. */
  readonly changes: readonly {
    part: string
    to: Part
    isSafer: boolean
    madeFor: readonly AdviceState[]
  }[]
  /** States whose part would be changed if they are as far off as they look: worth another drive first. */
  readonly unclear: readonly AdviceState[]
  readonly plan: Plan
}

/** Chance outside the band from which a state is held to be off. Chosen here: a swap is a small job, done for nothing it is one too many. */
const SURELY_OFF = 0.85
/** The same of lean power, which is the dangerous side. Chosen here. */
const LEAN_POWER_OFF = 0.65
/** Chance outside the band from which another drive is worth more than leaving the state alone. Chosen here. */
const WORTH_A_DRIVE = 0.25
/** Chance outside the band from which a state that no driving tells better is put right. Chosen here: more likely off than not. */
const MORE_LIKELY_OFF = 0.5
/** Chance inside the band from which a state is left alone. Chosen here. */
const WELL_INSIDE = 0.65
/** What a part must take off the chance of a state to be outside to count as made for that state. Chosen here. */
const HELPS = 0.15
/** What a part must bring a state nearer to its band, in half widths, to be worth a swap where none reaches it. Chosen here. */
const MUCH_NEARER = 0.5

/**
 * The next step from what is known. A part is changed for a state that is surely off, or that is more likely off than not and that further
 * driving with these parts could not tell better; while a state may well be inside its band, or is hardly known, another drive comes first: it
 * costs less than a swap, which wants a drive as well. Nor is a part changed for a state that hardly occurs and only may be off. While something
 * else is surely off, that goes first: the drive after it tells of the unclear state for nothing. Sets of parts that are `isRefused` are left out.
 */
export function chooseStep(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  observed: readonly ObservedRun[],
  isRefused: (fitted: Fitted) => boolean = () => false,
): Step {
  const wasFitted = (part: string, size: Part) =>
    observed.slice(0, -1).some((entry) => isSamePart(entry.fitted[part], size))
  const wasTried = barredSets(observed, bands)
  const rules = { isBarred: (fitted: Fitted) => wasTried(fitted) || isRefused(fitted), wasFitted }
  const outside = (state: AdviceState, fitted: Fitted) =>
    1 - shareInside(model.forecast(state, fitted)!, bands.get(state)!)
  const states = [...bands.keys()]
  const isFine = states.every((state) => 1 - outside(state, model.base) >= WELL_INSIDE)
  let plan = planChanges(model, bands, isFine ? new Map() : choices, rules)
  if (plan.changed.length === 0 && states.some((state) => outside(state, model.base) > 0.5)) {
    // A state is out and no change seems worth its trouble: then even a small gain beats standing still.
    const isBarred = (fitted: Fitted) =>
      isRefused(fitted) || observed.some((entry) => isSameFitted(entry.fitted, fitted))
    plan = planChanges(model, bands, choices, { ...rules, isBarred, penaltyScale: 0.3 })
  }
  const halfOf = (state: AdviceState) => (bands.get(state)!.high - bands.get(state)!.low) / 2
  const sdOf = (state: AdviceState) => model.forecast(state, model.base)!.sd
  const canTell = (state: AdviceState) =>
    mayAskAgain(observed, state) && sdOf(state) > KNOWN_WELL * halfOf(state)
  const isKnown = (state: AdviceState) => sdOf(state) <= TOO_WIDE * halfOf(state)
  const isTooLean = (state: AdviceState) =>
    isLeanPower(state, model.forecast(state, model.base)!, bands.get(state)!)
  /** Lean under load that was measured is put right at once: nobody is sent to full throttle to make quite sure of it. */
  const isOff = (state: AdviceState) => {
    const chance = outside(state, model.base)
    // A few seconds may all lie in one corner of the state: no part is changed for them, but for lean power.
    if (secondsOf(observed, state) < LEAST_SECONDS && !isTooLean(state)) return false
    return chance >= SURELY_OFF || (isTooLean(state) && isKnown(state) && chance >= LEAN_POWER_OFF)
  }
  const excess = (state: AdviceState, fitted: Fitted) => {
    const { low, high } = bands.get(state)!
    const { mean } = model.forecast(state, fitted)!
    return Math.max(0, low - mean, mean - high) / halfOf(state)
  }
  /** States for which the plan has this part: those that it likely brings in, or much nearer. */
  const madeFor = (part: string) => {
    const without = { ...plan.fitted, [part]: model.base[part] }
    return states.filter(
      (state) =>
        outside(state, without) - outside(state, plan.fitted) > HELPS ||
        excess(state, without) - excess(state, plan.fitted) > MUCH_NEARER,
    )
  }
  /** No driving tells this one better, and it is more likely off than not. */
  const isDecided = (state: AdviceState) =>
    !canTell(state) &&
    (isTooLean(state) || (isKnown(state) && !lackingDrives(observed, state))) &&
    outside(state, model.base) > MORE_LIKELY_OFF
  const isSure = (part: string) => madeFor(part).some(isOff)
  const unsure = plan.changed.filter((part) => !isSure(part))
  const unclear = [...new Set(unsure.flatMap(madeFor))].filter(
    (state) => canTell(state) && outside(state, model.base) > WORTH_A_DRIVE,
  )
  // What is surely off goes before what is only more likely off than not.
  const first = plan.changed.find(isSure) ?? unsure.find((part) => madeFor(part).some(isDecided))
  if (first === undefined) return { changes: [], unclear, plan }
  const order = [first, ...plan.changed.filter((part) => part !== first)]
  const changes = order.map((part, index) => ({
    part,
    madeFor: madeFor(part),
    ...(index === 0
      ? sizeOf(safestSize(model, bands, choices, plan, part, rules.isBarred))
      : { to: plan.fitted[part], isSafer: false }),
  }))
  return { changes, unclear, plan }
}

function sizeOf(safest: { part: Part; isSafer: boolean }): { to: Part; isSafer: boolean } {
  return { to: safest.part, isSafer: safest.isSafer }
}
