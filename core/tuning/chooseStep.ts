import type { Fitted, Part } from '../contract/car.ts'
import { type AdviceState, isSamePart } from './partPaths.ts'
import { type Choices, type Plan, planChanges } from './planChanges.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'
import { safestSize } from './safestSize.ts'
import { barredSets } from './triedParts.ts'

/** What to do next: the changes in their order, the first of them now; or the states that more driving must tell first. */
export interface Step {
  /** Every change of the plan, the one to make now first. */
  readonly changes: readonly { part: string; to: Part; isSafer: boolean }[]
  /** States whose part would be changed if they are as far off as they look: worth another drive first. */
  readonly unclear: readonly AdviceState[]
  readonly plan: Plan
}

/** Chance outside the band from which a state is held to be off. Chosen here: a swap is a small job, done for nothing it is one too many. */
const SURELY_OFF = 0.85
/** Chance inside the band from which a state is left alone. Chosen here. */
const WELL_INSIDE = 0.65
/** What a part must take off the chance of a state to be outside to count as made for that state. Chosen here. */
const HELPS = 0.15
/** Standard deviation, in half widths of the band, below which more driving tells little: the day and the air then rule. Chosen here. */
const KNOWN_WELL = 0.17
/** Drives with the same parts after which what is known must do. Chosen here. */
const MOST_DRIVES = 2

/**
 * The next step from what is known. A part is changed for a state that is surely off, or that further driving with these parts could
 * not tell better; when the plan rests on a state that may well be inside its band, another drive comes first. While something else
 * is surely off, that goes first: the drive after it tells of the unclear state for nothing.
 */
export function chooseStep(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  observed: readonly ObservedRun[],
): Step {
  const newest = observed[observed.length - 1]
  const wasFitted = (part: string, size: Part) =>
    observed.slice(0, -1).some((entry) => isSamePart(entry.fitted[part], size))
  const rules = { isBarred: barredSets(observed, bands), wasFitted }
  const outside = (state: AdviceState, fitted: Fitted) =>
    1 - shareInside(model.forecast(state, fitted)!, bands.get(state)!)
  const states = [...bands.keys()]
  const isFine = states.every((state) => 1 - outside(state, model.base) >= WELL_INSIDE)
  let plan = planChanges(model, bands, isFine ? new Map() : choices, rules)
  if (plan.changed.length === 0 && states.some((state) => outside(state, model.base) > 0.5)) {
    // A state is out and no change seems worth its trouble: then even a small gain beats standing still.
    const wasDriven = (fitted: Fitted) => observed.some((entry) => isSameFitted(entry.fitted, fitted))
    plan = planChanges(model, bands, choices, { ...rules, isBarred: wasDriven, penaltyScale: 0.3 })
  }
  const drives = observed.filter((entry) => isSameFitted(entry.fitted, newest.fitted)).length
  const canTell = (state: AdviceState) => {
    const band = bands.get(state)!
    const half = (band.high - band.low) / 2
    return drives < MOST_DRIVES && model.forecast(state, model.base)!.sd > KNOWN_WELL * half
  }
  /** Lean under load is put right at once: nobody is sent to full throttle to make sure of it. */
  const isOff = (state: AdviceState) => {
    const isLeanPower = state === 'power' && model.forecast(state, model.base)!.mean > bands.get(state)!.high
    return isLeanPower || outside(state, model.base) >= SURELY_OFF
  }
  /** States for which the plan has this part. */
  const madeFor = (part: string) => {
    const without = { ...plan.fitted, [part]: model.base[part] }
    return states.filter((state) => outside(state, without) - outside(state, plan.fitted) > HELPS)
  }
  const unclear = new Set<AdviceState>()
  const ready = plan.changed.filter((part) => {
    const wanted = madeFor(part)
    if (wanted.some(isOff)) return true
    const open = wanted.filter((state) => outside(state, model.base) > 1 - WELL_INSIDE && canTell(state))
    for (const state of open) unclear.add(state)
    return false
  })
  if (ready.length === 0 && unclear.size > 0) return { changes: [], unclear: [...unclear], plan }
  const first = ready[0] ?? plan.changed[0]
  const order = first === undefined ? [] : [first, ...plan.changed.filter((part) => part !== first)]
  const changes = order.map((part, index) =>
    index === 0
      ? { part, ...sizeOf(safestSize(model, bands, choices, plan, part, rules.isBarred)) }
      : { part, to: plan.fitted[part], isSafer: false },
  )
  return { changes, unclear: [...unclear], plan }
}

function sizeOf(safest: { part: Part; isSafer: boolean }): { to: Part; isSafer: boolean } {
  return { to: safest.part, isSafer: safest.isSafer }
}
