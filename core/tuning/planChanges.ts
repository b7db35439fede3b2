import { type Box, type Circuit, circuitNames, type Fitted, type Part } from '../contract/car.ts'
import {
  type AdviceState,
  circuitOfPart,
  hasCircuit,
  isSamePart,
  openingOf,
  valveOf,
  valveParts,
} from './partPaths.ts'
import { type Band, shareInside, stateCost } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'

/** Parts that a plan may change, each with the sizes at hand; the first is what is fitted. */
export type Choices = ReadonlyMap<string, readonly Part[]>

export interface Plan {
  readonly fitted: Fitted
  readonly changed: readonly string[]
  /** Cost of the states when all is done, and that of leaving everything as it is. */
  readonly cost: number
  readonly costNow: number
}

/**
 * What one more change of a part must gain: a trial is half an hour, a smell of fuel and a new drive, so the chance of being outside the
 * band must fall by about this much. A screw is turned in a minute; a valve needs the carburettor apart. Chosen here.
 */
const CHANGE_PENALTY = 0.16
const SCREW_PENALTY = 0.12
const VALVE_PENALTY = 0.5
/** A screw without a list in the box: quarter turns to so many. */
const QUARTER_TURNS = 24
const CHOICES_MOST = 60
/** What going back to a size that was fitted before must gain on top: most of the time it only chases noise. Chosen here. */
const BACK_PENALTY = 0.25

/** What touching a circuit whose own states stand well must gain on top: leave alone what is right. Chosen here. */
const RIGHT_CIRCUIT_PENALTY = 0.2
/** Chance inside the band from which a circuit's own state stands well. Chosen here. */
const STANDS_WELL = 0.7
/** Weight of what the first of several steps makes worse until the next: a day's driving. Chosen here. */
const MEANWHILE_WEIGHT = 0.15
/** Weight of a half width by which the first of several steps takes a state past its band. Chosen here. */
const OVERSHOOT_WEIGHT = 0.5
/** States by which a circuit's parts are judged. */
const OWN_STATES: Readonly<Record<string, readonly AdviceState[]>> = {
  idle: ['idle'],
  main: ['cruise', 'part_throttle', 'running'],
  power: ['power'],
  secondary: ['power'],
}

/** True when every own state of the part's circuit that was seen is well inside its band. */
function standsWell(model: ResponseModel, bands: ReadonlyMap<AdviceState, Band>, part: string): boolean {
  const own = OWN_STATES[circuitOfPart(part) ?? ''] ?? []
  const seen = own.flatMap((state) => {
    const band = bands.get(state)
    const now = band && model.forecast(state, model.base)
    return band && now ? [shareInside(now, band)] : []
  })
  return seen.length > 0 && seen.every((share) => share >= STANDS_WELL)
}

export interface PlanRules {
  /** Sets of parts that are left out: tried and found no better. */
  isBarred?: (fitted: Fitted) => boolean
  /** True for a size of a part that an earlier run had. */
  wasFitted?: (part: string, size: Part) => boolean
  /** Below 1 the plan tries harder for small gains. Default 1. */
  penaltyScale?: number
}

/**
 * Sizes that could be fitted for each part that moves a known fuel path, or is the power valve. What feeds full throttle is left alone as long as
 * full throttle was not seen: lean there destroys the engine.
 */
export function choicesOf(
  fitted: Fitted,
  box: Box,
  model: ResponseModel,
  valve: boolean,
  circuits?: readonly Circuit[],
): Choices {
  const choices = new Map<string, Part[]>()
  const names = new Set<string>()
  const isPowerSeen = model.forecast('power', model.base) !== undefined
  for (const path of model.paths) {
    if (!isPowerSeen && (path.circuit === 'power' || path.circuit === 'secondary')) continue
    names.add(path.part)
    if (path.rod && fitted[path.rod]) names.add(path.rod)
  }
  const opening = valveOf(fitted)
  if (valve && opening && hasCircuit('power', circuits)) names.add(opening.name)
  for (const name of names) {
    const now = fitted[name]
    if (!now) continue
    // A count in the box is how many are there: two jets are not changed for one.
    let sizes = (box[name] ?? [])
      .filter((part) => hasSameKind(name, part, now) && !isTooFew(part, now))
      .map(({ count: _, ...part }) => part as Part)
    // Screws are turned whatever the box holds.
    if (sizes.length === 0 && now.turns !== undefined) sizes = quarterTurns(now.turns)
    const usable = sizes.filter((part) => !isSamePart(part, now))
    if (usable.length > 0) choices.set(name, [now, ...nearest(usable, now)])
  }
  return choices
}

/** True for a size of which the box has fewer than are fitted side by side. */
export const isTooFew = (part: Part, now: Part) =>
  part.count !== undefined && now.count !== undefined && part.count < now.count

/** So many sizes as are tried, those nearest to the one fitted, in the order of the box. */
function nearest(sizes: readonly Part[], now: Part): readonly Part[] {
  if (sizes.length <= CHOICES_MOST) return sizes
  const distance = (part: Part) => Math.abs(Math.log(openingOf(part, 'cruise') / openingOf(now, 'cruise')))
  const far = sizes.map((part) => distance(part) || 0)
  const limit = [...far].sort((a, b) => a - b)[CHOICES_MOST - 1]
  return sizes.filter((_, i) => far[i] <= limit).slice(0, CHOICES_MOST)
}

function isValve(name: string): boolean {
  return (valveParts as readonly string[]).includes(name)
}

function quarterTurns(now: number): Part[] {
  return Array.from({ length: QUARTER_TURNS }, (_, i) => (i + 1) / 4)
    .filter((turns) => Math.abs(turns - now) <= 2)
    .map((turns) => ({ label: turns.toFixed(2), turns }))
}

function hasSameKind(name: string, part: Part, now: Part): boolean {
  if (isValve(name)) return part.opens_inHg !== undefined
  if (name === 'rod' || name === 'secondary_rod') {
    return part.cruise_mm !== undefined || part.power_mm !== undefined
  }
  const kinds = ['turns', 'bore_mm', 'flow'] as const
  return (
    kinds.some((kind) => part[kind] !== undefined && now[kind] !== undefined) && openingOf(part, 'cruise') > 0
  )
}

/**
 * Cost of all states with these parts. How strongly a change answers is known after the next drive and can be mended by another swap, so
 * that part of the doubt weighs as a swap does, and not as a state left off.
 */
export function costOf(model: ResponseModel, bands: ReadonlyMap<AdviceState, Band>, fitted: Fitted): number {
  let cost = 0
  for (const [state, band] of bands) {
    const forecast = model.forecast(state, fitted)
    if (!forecast) continue
    const now = model.forecast(state, model.base)!
    if (forecast.sd <= now.sd) cost += stateCost(state, forecast, band)
    else {
      cost += MENDED_WEIGHT * stateCost(state, forecast, band)
      cost += (1 - MENDED_WEIGHT) * stateCost(state, { mean: forecast.mean, sd: now.sd }, band)
    }
  }
  return cost
}

/** How far past its band each state is taken that was not on that side of it before, together, in half widths. */
function overshootOf(model: ResponseModel, bands: ReadonlyMap<AdviceState, Band>, fitted: Fitted): number {
  let past = 0
  for (const [state, band] of bands) {
    const then = model.forecast(state, fitted)?.mean
    const now = model.forecast(state, model.base)?.mean
    if (then === undefined || now === undefined) continue
    const half = (band.high - band.low) / 2
    if (now < band.high) past += Math.max(0, then - band.high) / half
    if (now > band.low) past += Math.max(0, band.low - then) / half
  }
  return past
}

/** Shift of log λ in power below which a step is not held to move it. */
export const FELT_SHIFT = 0.005

/** True when power would come out beyond the lean end of its band, and clearly leaner than it is: nothing is fitted for good that does that. */
export function leavesPowerLean(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  fitted: Fitted,
): boolean {
  const band = bands.get('power')
  const then = model.forecast('power', fitted)
  if (!band || !then) return false
  return then.mean > band.high && then.mean - model.forecast('power', model.base)!.mean >= FELT_SHIFT
}

/** How far past its band idle may come out of a plan for the sake of other states, in half widths. Chosen here: its screws move the others little, and itself much. */
const IDLE_PAST = 1

/** True when idle would come out far outside its band, and clearly further than it is: its screws are no makeshift for a jet that is missing. */
export function spoilsIdle(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  fitted: Fitted,
): boolean {
  const band = bands.get('idle')
  const then = model.forecast('idle', fitted)
  if (!band || !then) return false
  const outside = (mean: number) => Math.max(0, mean - band.high, band.low - mean)
  const now = outside(model.forecast('idle', model.base)!.mean)
  return outside(then.mean) > Math.max((IDLE_PAST * (band.high - band.low)) / 2, now + FELT_SHIFT)
}

/** Weight of a doubt that the next swap would mend, against that of a state left off. Chosen here. */
const MENDED_WEIGHT = 0.5

function penaltyOf(name: string, part: Part): number {
  if (isValve(name)) return VALVE_PENALTY
  return part.turns === undefined ? CHANGE_PENALTY : SCREW_PENALTY
}

/**
 * The best set of sizes for all parts together: one part feeds several states, so a size chosen for one alone is put right twice.
 * Improves by changing one or two parts at a time until nothing gains more than its penalty.
 */
export function planChanges(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  rules: PlanRules = {},
): Plan {
  const { isBarred = () => false, wasFitted = () => false, penaltyScale = 1 } = rules
  const base = model.base
  const names = [...choices.keys()]
  const known = new Map<string, number>()
  const extra = new Map(
    names.map((name) => [name, standsWell(model, bands, name) ? RIGHT_CIRCUIT_PENALTY : 0]),
  )
  const inOrder = [...names].sort((a, b) => orderOf(a) - orderOf(b))
  const nowCost = costOf(model, bands, base)
  const total = (fitted: Fitted): number => {
    const key = names.map((name) => choices.get(name)!.indexOf(fitted[name])).join(',')
    const before = known.get(key)
    if (before !== undefined) return before
    let sum = costOf(model, bands, fitted)
    for (const name of names) {
      if (fitted[name] === base[name]) continue
      sum += penaltyScale * (penaltyOf(name, fitted[name]) + extra.get(name)!)
      if (wasFitted(name, fitted[name])) sum += BACK_PENALTY
    }
    const steps = inOrder.filter((name) => fitted[name] !== base[name])
    if (steps.length > 1) {
      const alone = { ...base, [steps[0]]: fitted[steps[0]] }
      sum += MEANWHILE_WEIGHT * Math.max(0, costOf(model, bands, alone) - nowCost)
      sum += OVERSHOOT_WEIGHT * overshootOf(model, bands, alone)
    }
    const isRefused =
      isBarred(fitted) || leavesPowerLean(model, bands, fitted) || spoilsIdle(model, bands, fitted)
    if (isRefused) sum = Number.POSITIVE_INFINITY
    known.set(key, sum)
    return sum
  }
  let best = { ...base }
  let bestCost = nowCost
  const costNow = bestCost
  for (let round = 0; round < 12; round++) {
    let next = best
    let nextCost = bestCost
    for (const [i, first] of names.entries()) {
      for (const a of choices.get(first)!) {
        const one = { ...best, [first]: a }
        const oneCost = total(one)
        if (oneCost < nextCost - 1e-9) {
          next = one
          nextCost = oneCost
        }
        for (let j = i + 1; j < names.length; j++) {
          for (const b of choices.get(names[j])!) {
            const two = { ...one, [names[j]]: b }
            const twoCost = total(two)
            if (twoCost < nextCost - 1e-9) {
              next = two
              nextCost = twoCost
            }
          }
        }
      }
    }
    if (next === best) break
    best = next
    bestCost = nextCost
  }
  const changed = names.filter((name) => best[name] !== base[name])
  changed.sort((a, b) => orderOf(a) - orderOf(b))
  return { fitted: best, changed, cost: costOf(model, bands, best), costNow }
}

/** Place of a part in the order of the trade: idle and transfer, main, power, secondary, pump, choke. */
export function orderOf(part: string): number {
  const order = ['idle', 'transfer', 'main', 'power', 'secondary', 'pump', 'choke']
  const circuit = circuitOfPart(part)
  return circuit && circuitNames.includes(circuit) ? order.indexOf(circuit) : order.length
}
