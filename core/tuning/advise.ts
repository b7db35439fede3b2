import type { AdviceResult, Change } from '../contract/advice.ts'
import {
  type Box,
  type CarProfile,
  defaultTargets,
  type Fitted,
  type Part,
  type PartsFile,
  partsFileSchema,
  type Targets,
} from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { describeChange } from './adviseChange.ts'
import { leanReadingCautions, openingCautions } from './cautions.ts'
import { round, stateWords } from './compareRuns.ts'
import { type EnrichmentStep, enrichedShare, findEnrichmentStep, valveShift } from './enrichmentStep.ts'
import { inOrderOfStart } from './evidence.ts'
import { findInjectionFactors, type InjectionFactors } from './injectionFactors.ts'
import { findMissingSizes, type MissingSize } from './missingSizes.ts'
import { type AdviceState, adviceStates, isSamePart, pathsOf, valveOf } from './partPaths.ts'
import { choicesOf, planChanges, safestSize } from './planChanges.ts'
import { type Band, bandOf, shareInside, stateCost } from './planCost.ts'
import { advisePump, judgePump } from './pumpAdvice.ts'
import { learnResponse, type ResponseModel } from './responseModel.ts'
import { isSameFitted, type ObservedRun, observeRuns } from './runObservations.ts'

export interface AdviseOptions {
  /** The car: targets, home air, circuits, metering. Default: as the newest run carries it. */
  car?: CarProfile
  /** Targets that win over the car's. */
  targets?: Targets
  /** Day-to-day standard deviation as a share of λ; see `CompareOptions`. */
  repeatabilityShare?: number
  /** Standard deviation of the exponent of air density in λ. */
  airExponentSd?: number
  /** Error of the model as a share of the shift it foretells: more makes advice trust its forecasts less. */
  modelShare?: number
}

/** Values used where `AdviseOptions` names none. */
export const defaultAdviseOptions = Object.freeze({
  repeatabilityShare: 0.003,
  airExponentSd: 0.03,
  modelShare: 0.12,
})

/** Chance inside the band that a state needs to be called finished, if its estimate lies inside. */
const SURE_ENOUGH = 0.75
/** Standard deviation, in half widths of the band, above which data cannot decide. */
const TOO_WIDE = 0.6
const LEAST_SECONDS = 5
/** Share of a state's fuel from which a part is held to govern it. Chosen here. */
const STRONG_SHARE = 0.1
/** Longest drive that is asked for in one state, s. */
const MOST_NEEDED_S = 120
const LEAST_NEEDED_S = 10

/**
 * The next change, from the runs so far (ordered by start time; the last is today's) and the parts in the box. Works at reference
 * air. Each state's level and each part's share of its fuel are one Bayesian estimate; sizes are chosen for all parts together and
 * proposed one at a time in the order of the trade. `next` is null when every state is inside its band (`done`), when data cannot decide
 * (`needs`), or when the box holds nothing better (`missing_sizes`).
 *
 * Throws `RangeError` without runs, or for a box that is none, with the field at fault.
 */
export function advise(
  runs: readonly (RunAnalysis | AnalysisResult)[],
  box: Box | PartsFile,
  options: AdviseOptions = {},
): AdviceResult {
  if (!Array.isArray(runs) || runs.length === 0) throw new RangeError('no runs (expected one or more)')
  const parts = readParts(box)
  const ordered = inOrderOfStart(runs)
  const today = ordered[ordered.length - 1]
  const car = options.car ?? ordered.findLast((run) => run.car)?.car
  const settings = {
    repeatabilityShare: options.repeatabilityShare ?? defaultAdviseOptions.repeatabilityShare,
    airExponentSd: options.airExponentSd ?? defaultAdviseOptions.airExponentSd,
    modelShare: options.modelShare ?? defaultAdviseOptions.modelShare,
  }
  const observed = observeRuns(ordered, car, parts.fitted, settings)
  const newest = observed[observed.length - 1]
  const targets: Targets = { ...defaultTargets, ...car?.targets, ...options.targets }
  const likeToday = observed
    .filter((entry) => isSameValve(entry.fitted, newest.fitted))
    .flatMap((entry) => entry.run.pieces)
  const step = findEnrichmentStep(likeToday)
  const bands = bandsOf(targets, step ? enrichedShare(likeToday, 'part_throttle', step) : 0)
  const model = learnResponse(observed, pathsOf(newest.fitted), {
    ...settings,
    extraShift: (state, fitted) => extraShiftOf(state, fitted, newest, step),
  })
  const known = new Map([...bands].filter(([state]) => model.forecast(state, newest.fitted)))
  const states = describeStates(model, known, observed)
  const isInjection = car?.metering === 'throttle_body_injection'
  if (isInjection) return adviseInjection(today, states, known, targets, observed, car)

  const isBarred = barredSets(observed, known)
  const choices = choicesOf(newest.fitted, parts.box, model, step !== undefined)
  const isOut = (state: AdviceState) => states[state].verdict === 'rich' || states[state].verdict === 'lean'
  const wasFitted = (part: string, size: Part) =>
    observed.slice(0, -1).some((entry) => isSamePart(entry.fitted[part], size))
  let plan = planChanges(model, known, choices, { isBarred, wasFitted })
  if (plan.changed.length === 0 && [...known.keys()].some(isOut)) {
    // A state is out and no change seems worth its trouble: then even a small gain beats standing still.
    const wasDriven = (fitted: Fitted) => observed.some((entry) => isSameFitted(entry.fitted, fitted))
    plan = planChanges(model, known, choices, { isBarred: wasDriven, wasFitted, penaltyScale: 0.3 })
  }
  const changes: Change[] = []
  let fitted = newest.fitted
  for (const [index, part] of plan.changed.entries()) {
    const choice =
      index === 0
        ? safestSize(model, known, choices, plan, part, isBarred)
        : { part: plan.fitted[part], isSafer: false }
    const after: Fitted = { ...fitted, [part]: choice.part }
    changes.push(
      describeChange({
        model,
        bands: known,
        part,
        before: fitted,
        after,
        observed,
        isSafer: choice.isSafer,
        step,
        choices,
      }),
    )
    fitted = after
  }
  const pump = judgePump(
    observed.filter((entry) => isSameFitted(entry.fitted, newest.fitted)).map((entry) => entry.run),
  )
  const pumpChange = advisePump(
    pump,
    newest.fitted,
    parts.box,
    observed.map((entry) => entry.fitted),
  )
  const needs = findNeeds(model, bands, known, observed, changes.length > 0, today)
  if (pumpChange) {
    if (changes.length === 0 && needs.length === 0) changes.push(pumpChange)
    else changes.push({ ...pumpChange, later: true })
  }
  const missing = findMissingSizes(model, known, choices, plan, parts.box)
  // Within its doubt of the band's edge with nothing better at hand is as near as this box comes.
  const off = [...known].filter(([state, band]) => isOut(state) && distanceOut(model, state, band) > 1)
  const stuck = changes.length === 0 ? off.filter(([state]) => canMove(model, state)) : []
  const isUseful = (change: Change | undefined) => change !== undefined && !change.later
  const next = isUseful(changes[0]) ? changes[0] : null
  const done = next === null && needs.length === 0 && stuck.length === 0
  states.pump = {
    verdict: pump.verdict,
    lambda: null,
    ci95: null,
    target: null,
    pattern: pump.pattern,
    tip_ins: pump.tipIns,
    count: pump.count,
  }
  const warnings = findWarnings(
    model,
    known,
    newest,
    next,
    states,
    missing,
    stuck.map(([state]) => state),
  )
  return {
    format: 'floatbowl-advice 1',
    done,
    next,
    also: next ? changes.slice(1) : changes,
    ...(next === null && needs.length > 0 ? { needs } : needs.length > 0 ? { also_needs: needs } : {}),
    states,
    warnings,
    summary: summaryOf(
      done,
      next,
      needs,
      missing,
      off.map(([state]) => stateWords[state]),
    ),
    ...(next ? { cautions: openingCautions } : {}),
    ...(missing.length > 0 ? { missing_sizes: missing } : {}),
    ...(step
      ? {
          power_valve_opens_inHg: {
            value: step.opens_inHg,
            ci95: step.ci95,
            step_log: round(step.stepLog, 4),
          },
        }
      : {}),
    ...chokeNote(today),
    shares: sharesOf(model),
    runs_used: observed.length,
    air_known: newest.air.source !== 'unknown',
  }
}

function readParts(box: Box | PartsFile): { box: Box; fitted?: Fitted } {
  const looksWhole =
    typeof box === 'object' && box !== null && typeof box.box === 'object' && !Array.isArray(box.box)
  const hasFitted = typeof box === 'object' && box !== null && 'fitted' in box && !Array.isArray(box.fitted)
  const parsed = partsFileSchema.safeParse(looksWhole || hasFitted ? box : { box })
  if (!parsed.success) {
    const issue = parsed.error.issues[0]
    throw new RangeError(`invalid parts: ${issue.path.join('.') || 'file'}: ${issue.message}`)
  }
  return { box: parsed.data.box ?? {}, ...(parsed.data.fitted ? { fitted: parsed.data.fitted } : {}) }
}

/**
 * Bands in log λ. Where the enrichment opens within part throttle, that share of it is meant to run as rich as power: the rich limit of
 * part throttle moves accordingly, else a right main jet would be made lean to make up for the valve.
 */
function bandsOf(targets: Targets, enriched: number): Map<AdviceState, Band> {
  const bands = new Map<AdviceState, Band>()
  for (const state of adviceStates) {
    const target = state === 'running' ? targets.cruise : targets[state]
    if (target) bands.set(state, bandOf(target))
  }
  const { part_throttle: part, power } = targets
  if (part && power && enriched > 0) {
    const limit = (1 - enriched) * (part.lambda - part.rich) + enriched * (power.lambda - power.rich)
    bands.set('part_throttle', { ...bandOf(part), low: Math.log(limit) })
  }
  return bands
}

function isSameValve(a: Fitted, b: Fitted): boolean {
  return valveOf(a)?.opensInHg === valveOf(b)?.opensInHg
}

/** How far the computed effect of another valve may be wrong: it rests on one step and today's roads. */
const VALVE_DOUBT = 0.4

function extraShiftOf(
  state: AdviceState,
  fitted: Fitted,
  newest: ObservedRun,
  step: EnrichmentStep | undefined,
) {
  const to = valveOf(fitted)?.opensInHg
  const from = valveOf(newest.fitted)?.opensInHg
  if (to === undefined || from === undefined || to === from) return { mean: 0, sd: 0 }
  // Without a step in the data another valve's effect is only known to be some.
  if (!step) return { mean: 0, sd: state === 'part_throttle' || state === 'power' ? 0.03 : 0.01 }
  const mean = valveShift(newest.run.pieces, state, step, to - from)
  return { mean, sd: VALVE_DOUBT * Math.abs(mean) + 0.002 }
}

/** Distance outside the bands that a run showed, in half widths, over all states it saw. */
function measuredCost(entry: ObservedRun, bands: ReadonlyMap<AdviceState, Band>): number {
  let cost = 0
  for (const [state, band] of bands) {
    const seen = entry.logLambda[state]
    if (seen) cost += stateCost(state, { mean: seen.mean, sd: Math.hypot(seen.se, entry.daySd ?? 0) }, band)
  }
  return cost
}

/** How much better, in chance and half widths of a band, an earlier set must have measured to be fitted again. Chosen here. */
const WORTH_GOING_BACK = 0.7

/** Sets of parts that were driven and found no better than today's: they are not proposed again. */
function barredSets(observed: readonly ObservedRun[], bands: ReadonlyMap<AdviceState, Band>) {
  const newest = observed[observed.length - 1]
  const now = measuredCost(newest, bands)
  const worse = observed
    .slice(0, -1)
    .filter(
      (entry) =>
        !isSameFitted(entry.fitted, newest.fitted) && measuredCost(entry, bands) > now - WORTH_GOING_BACK,
    )
  return (fitted: Fitted) =>
    worse.some((entry) => isSameFitted(entry.fitted, fitted) && isSameFitted(fitted, entry.fitted))
}

function describeStates(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  observed: readonly ObservedRun[],
): AdviceResult['states'] {
  const states: AdviceResult['states'] = {}
  for (const [state, band] of bands) {
    const now = model.forecast(state, model.base)!
    const lambda = Math.exp(now.mean)
    const half = (band.high - band.low) / 2
    const seconds = secondsOf(observed, state)
    const isOutside = now.mean > band.high || now.mean < band.low
    const surelyOutside = now.mean - 1.96 * now.sd > band.high || now.mean + 1.96 * now.sd < band.low
    const isKnown = surelyOutside || (now.sd <= TOO_WIDE * half && seconds >= LEAST_SECONDS)
    states[state] = {
      verdict: !isKnown
        ? 'not_enough_data'
        : !isOutside
          ? 'on_target'
          : now.mean > band.high
            ? 'lean'
            : 'rich',
      lambda: round(lambda, 4),
      ci95: [round(Math.exp(now.mean - 1.96 * now.sd), 4), round(Math.exp(now.mean + 1.96 * now.sd), 4)],
      target: band.target.lambda,
      error: round(lambda - band.target.lambda, 4),
      inside: round(shareInside(now, band), 3),
      seconds: Math.round(seconds),
      fuel_factor: round(lambda / band.target.lambda, 4),
    }
  }
  return states
}

/** Distance of a state's estimate outside its band, in standard deviations; 0 inside. */
function distanceOut(model: ResponseModel, state: AdviceState, band: Band): number {
  const now = model.forecast(state, model.base)
  if (!now) return 0
  return Math.max(0, now.mean - band.high, band.low - now.mean) / now.sd
}

/** Steady seconds of a state over the runs with today's parts. */
function secondsOf(observed: readonly ObservedRun[], state: AdviceState): number {
  const newest = observed[observed.length - 1]
  return observed
    .filter((entry) => isSameFitted(entry.fitted, newest.fitted))
    .reduce((sum, entry) => sum + (entry.seconds[state] ?? 0), 0)
}

/** True when a fitted part feeds a good part of the state, whether or not the box holds another size of it. */
function canMove(model: ResponseModel, state: AdviceState): boolean {
  return model.paths.some((path) => (model.share(state, path.id)?.mean ?? 0) >= STRONG_SHARE)
}

function findNeeds(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  known: ReadonlyMap<AdviceState, Band>,
  observed: readonly ObservedRun[],
  hasChange: boolean,
  today: RunAnalysis,
): NonNullable<AdviceResult['needs']> {
  const needs: NonNullable<AdviceResult['needs']> = []
  const hasLoad = today.result.map.load_channel !== 'none'
  for (const [state, band] of bands) {
    if ((state === 'running') === hasLoad && state !== 'idle') continue
    // A state that nothing fitted can move is told, not waited for.
    const isFed =
      model.paths.length === 0 || model.paths.some((path) => path.share[state] && isStrong(path.share[state]))
    if (!isFed) continue
    const words = stateWords[state] ?? state
    const now = known.has(state) ? model.forecast(state, model.base) : undefined
    if (!now) {
      needs.push({ state, seconds: state === 'idle' ? 30 : 20, why: `no steady ${words} was seen` })
      continue
    }
    const half = (band.high - band.low) / 2
    const seconds = secondsOf(observed, state)
    const isInside = now.mean <= band.high && now.mean >= band.low
    const surelyOutside = now.mean - 1.96 * now.sd > band.high || now.mean + 1.96 * now.sd < band.low
    const unsure = !surelyOutside && (now.sd > TOO_WIDE * half || seconds < LEAST_SECONDS)
    const onEdge =
      !hasChange &&
      !surelyOutside &&
      (!isInside || shareInside(now, band) < SURE_ENOUGH) &&
      now.sd > 0.25 * half
    if (!unsure && !onEdge) continue
    const wanted = unsure ? TOO_WIDE * 0.7 * half : 0.2 * half
    const more = Math.max(5, seconds) * ((now.sd / wanted) ** 2 - 1)
    needs.push({
      state,
      seconds: Math.round(Math.min(MOST_NEEDED_S, Math.max(LEAST_NEEDED_S, more)) / 5) * 5,
      why: unsure
        ? `${words} is known only to ± ${(1.96 * now.sd).toFixed(3)}`
        : `${words} is so near the edge of its band that more driving must decide`,
    })
  }
  return needs
}

function isStrong(share: readonly [number, number]): boolean {
  return share[0] >= STRONG_SHARE
}

function findWarnings(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  newest: ObservedRun,
  next: Change | null,
  states: AdviceResult['states'],
  missing: readonly MissingSize[],
  stuck: readonly AdviceState[],
): string[] {
  const warnings: string[] = []
  const power = bands.get('power')
  const now = model.forecast('power', model.base)
  if (power && now && states.power?.verdict === 'lean') {
    warnings.push(
      `Power is lean: λ ${Math.exp(now.mean).toFixed(2)}. Lean under load destroys pistons: no full throttle until it is put right.`,
    )
  }
  if (power && next) {
    const then = model.forecast('power', { ...model.base, [next.part]: next.to as Part })
    if (!then && next.direction === 'leaner' && (next.circuit === 'main' || next.circuit === 'power')) {
      warnings.push(
        'Power was not driven, and this step makes it leaner too: drive gently and watch the first openings.',
      )
    } else if (then && now && then.mean > now.mean + 0.003 && then.mean + then.sd > power.high) {
      warnings.push(
        `This step takes power to about λ ${Math.exp(then.mean).toFixed(2)} (allowed up to ${Math.exp(power.high).toFixed(2)}): drive gently until the next step is made.`,
      )
    }
  }
  for (const size of missing) warnings.push(size.text)
  for (const state of stuck) {
    if (missing.length === 0)
      warnings.push(`Nothing in the box brings ${stateWords[state]} nearer to its band.`)
  }
  for (const [state, entry] of Object.entries(states)) {
    if (state === 'idle' && entry.verdict === 'lean') warnings.push(...leanReadingCautions)
  }
  for (const hint of newest.run.result.trust.hints) warnings.push(hint.text)
  if (newest.air.source === 'unknown') {
    warnings.push(
      'The air of the day is not known: the figures allow for any ordinary weather. Note temperature and pressure.',
    )
  }
  if (Object.keys(newest.fitted).length === 0) {
    warnings.push('Nothing is noted as fitted: without it no size can be chosen.')
  }
  return warnings
}

function summaryOf(
  done: boolean,
  next: Change | null,
  needs: NonNullable<AdviceResult['needs']>,
  missing: readonly MissingSize[],
  off: readonly string[],
): string {
  if (next) return `Change ${next.part.replaceAll('_', ' ')} ${next.from.label} → ${next.to.label}.`
  if (done && off.length > 0)
    return `Change nothing: no fitted part moves what is still off (${off.join(', ')}).`
  if (done) return 'Change nothing: every state is where it belongs.'
  if (needs.length > 0) {
    const wanted = needs.map((need) => `${need.seconds} s of ${stateWords[need.state] ?? need.state}`)
    return `Cannot tell yet. Drive ${wanted.join(', ')}.`
  }
  return missing.length > 0 ? missing[0].text : 'No part at hand makes it better.'
}

function chokeNote(today: RunAnalysis): { choke?: { verdict: string; text: string } } {
  const choke = today.result.warm_up?.choke
  if (choke === 'early') {
    return {
      choke: {
        verdict: 'early',
        text: 'The choke comes off too early: lean and unsteady while cold. Set it one notch richer, last of all.',
      },
    }
  }
  if (choke === 'late') {
    return {
      choke: {
        verdict: 'late',
        text: 'The choke comes off too late: rich and steady while warm already. Set it one notch leaner, last of all.',
      },
    }
  }
  return {}
}

function sharesOf(model: ResponseModel): Record<string, Record<string, { mean: number; sd: number }>> {
  const shares: Record<string, Record<string, { mean: number; sd: number }>> = {}
  for (const path of model.paths) {
    for (const state of adviceStates) {
      const share = model.share(state, path.id)
      if (!share) continue
      shares[path.part] = shares[path.part] ?? {}
      shares[path.part][state] = { mean: round(share.mean, 3), sd: round(share.sd, 3) }
    }
  }
  return shares
}

function adviseInjection(
  today: RunAnalysis,
  states: AdviceResult['states'],
  bands: ReadonlyMap<AdviceState, Band>,
  targets: Targets,
  observed: readonly ObservedRun[],
  car: CarProfile,
): AdviceResult {
  const pump = judgePump([today])
  const factors: InjectionFactors = findInjectionFactors(
    today,
    (state) => {
      const entry = states[state]
      return entry?.lambda ? { lambda: entry.lambda, seconds: Number(entry.seconds) } : undefined
    },
    targets,
    pump.pattern && pump.verdict === 'lean' ? pump.peak : null,
  )
  const needs = [...bands.keys()]
    .filter((state) => states[state].verdict === 'not_enough_data')
    .map((state) => ({ state, seconds: 30 }))
  const off = [...bands.keys()]
    .filter((state) => states[state].verdict === 'rich' || states[state].verdict === 'lean')
    .sort((a, b) => Math.abs(Number(states[b].error)) - Math.abs(Number(states[a].error)))
  const changes: Change[] = off.map((state) => {
    const factor = factors.states[state]?.factor ?? 1
    const entry = states[state]
    return {
      circuit: state === 'idle' ? 'idle' : state === 'power' ? 'power' : 'main',
      part: 'fuel_table',
      direction: factor > 1 ? 'richer' : 'leaner',
      from: { label: 'as it is' },
      to: { label: `× ${factor.toFixed(3)} in ${stateWords[state]}` },
      area_factor: factor,
      expected_lambda: entry.target,
      expected_ci95: null,
      because: [
        `${stateWords[state]} reads λ ${entry.lambda!.toFixed(2)}, target ${entry.target!.toFixed(2)}: fuel × ${factor.toFixed(3)}.`,
        'Type in the factors of the table below, cell by cell; the same percentage everywhere else in the state.',
      ],
    }
  })
  const done = changes.length === 0 && needs.length === 0
  return {
    format: 'floatbowl-advice 1',
    done,
    next: changes[0] ?? null,
    also: changes.slice(1),
    ...(changes.length === 0 && needs.length > 0 ? { needs } : {}),
    states,
    factors,
    warnings: [
      'The injection measures its own air: no air correction was applied, a hot day may read a little otherwise.',
    ],
    summary: done ? 'Change nothing: every state is where it belongs.' : 'Type in the correction factors.',
    runs_used: observed.length,
    metering: car.metering,
  }
}
