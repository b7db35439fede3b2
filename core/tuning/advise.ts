import type { AdviceResult, Change } from '../contract/advice.ts'
import {
  type Box,
  type CarProfile,
  defaultTargets,
  type Fitted,
  type PartsFile,
  type Targets,
} from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { mixtureUnitOf } from '../units/mixtureUnit.ts'
import { bandsOf } from './adviceBands.ts'
import { findNeeds, SURE_ENOUGH } from './adviceNeeds.ts'
import { readParts, unsizedSentence } from './adviceParts.ts'
import { canMove, describeStates, distanceOut } from './adviceStates.ts'
import { findWarnings, summaryOf } from './adviceWarnings.ts'
import { describeChange } from './adviseChange.ts'
import { adviseInjection } from './adviseInjection.ts'
import { bankLevels } from './bankLevels.ts'
import { bankSentences } from './bankWords.ts'
import { openingCautions } from './cautions.ts'
import { adviseChoke, chokeNote, judgeChoke } from './chokeAdvice.ts'
import { chooseStep } from './chooseStep.ts'
import { round, stateWords } from './compareRuns.ts'
import { enrichedShare, findEnrichmentStep } from './enrichmentStep.ts'
import { inOrderOfStart } from './evidence.ts'
import { findMissingSizes } from './missingSizes.ts'
import { type AdviceState, adviceStates, isSamePart, pathsOf } from './partPaths.ts'
import { choicesOf } from './planChanges.ts'
import { advisePump, judgePump } from './pumpAdvice.ts'
import { learnResponse, type ResponseModel } from './responseModel.ts'
import { isSameFitted, type ObservedRun, observeRuns } from './runObservations.ts'
import { extraShiftOf, isSameValve } from './valveEffect.ts'

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
  /** Unit in which sentences give the mixture: `lambda`, `afr`, `phi`. Default: as the car's profile says, else λ. Figures of the result stay λ. */
  mixtureUnit?: string
}

/** Values used where `AdviseOptions` names none. */
export const defaultAdviseOptions = Object.freeze({
  repeatabilityShare: 0.003,
  airExponentSd: 0.03,
  modelShare: 0.12,
})

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
  const unit = mixtureUnitOf(options.mixtureUnit ?? car?.units?.mixture, car?.fuel)
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
  if (isInjection) {
    // Numbers typed in are no parts on record: only runs noted with the same table as today's are one.
    const table = newest.fitted.fuel_table
    const isOneTable = (entry: ObservedRun) =>
      table !== undefined && isSamePart(entry.fitted.fuel_table, table)
    const alike = ordered.filter((_, i) => i === ordered.length - 1 || isOneTable(observed[i]))
    return adviseInjection(alike, bands, targets, car, settings, unit)
  }

  const banks = bankLevels(today, known, car)
  const choices = choicesOf(newest.fitted, parts.box, model, step !== undefined)
  const chosen = chooseStep(model, known, choices, observed)
  const changes: Change[] = []
  let fitted = newest.fitted
  for (const { part, to, isSafer, madeFor } of chosen.changes) {
    const after: Fitted = { ...fitted, [part]: to }
    changes.push(
      describeChange({
        model,
        bands: known,
        part,
        before: fitted,
        after,
        observed,
        isSafer,
        step,
        choices,
        madeFor,
        unit,
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
    unit,
  )
  const { needs, notJudged } = findNeeds({
    model,
    bands,
    known,
    observed,
    hasChange: changes.length > 0,
    unclear: chosen.unclear,
    today,
    unit,
  })
  for (const { state } of notJudged) {
    const target = bands.get(state)!.target.lambda
    states[state] ??= { verdict: 'not_enough_data', lambda: null, ci95: null, target }
    // Lean under load is said even where little tells of it.
    if (state !== 'power') states[state].verdict = 'not_enough_data'
  }
  const choke = judgeChoke(observed)
  changes.push(
    ...judgedLast(
      [pumpChange, adviseChoke(choke, newest.fitted, parts.box)],
      changes.length + needs.length > 0,
    ),
  )
  // Nobody is sent to buy a jet for a car that is right, though another might lie nearer the middle of a band.
  const isAnyOut = [...known.keys()].some((state) => Number(states[state].inside) < 0.5)
  const missing = isAnyOut ? findMissingSizes(model, known, choices, chosen.plan, parts.box) : []
  // Within its doubt of the band's edge with nothing better at hand is as near as this box comes.
  const isOut = (state: AdviceState) => states[state].verdict === 'rich' || states[state].verdict === 'lean'
  const isOpen = (state: AdviceState) => notJudged.some((entry) => entry.state === state)
  const off = [...known].filter(
    ([state, band]) => isOut(state) && distanceOut(model, state, band) > 1 && !isOpen(state),
  )
  const stuck = changes.length === 0 ? off.filter(([state]) => canMove(model, state)) : []
  const isUseful = (change: Change | undefined) => change !== undefined && !change.later
  const next = isUseful(changes[0]) ? changes[0] : null
  const unsized = unsizedSentence(
    newest.fitted,
    off.map(([state]) => state).filter((state) => !canMove(model, state)),
  )
  const done = next === null && needs.length === 0 && stuck.length === 0 && unsized === undefined
  states.pump = {
    verdict: pump.verdict,
    lambda: null,
    ci95: null,
    target: null,
    pattern: pump.pattern,
    tip_ins: pump.tipIns,
    count: pump.count,
  }
  const open = {
    banks: bankSentences(banks, unit),
    notJudged: notJudged.map(({ text }) => text),
    unsized,
    nearEdge: [...known.keys()].filter(
      (state) => states[state].verdict === 'on_target' && Number(states[state].inside) < SURE_ENOUGH,
    ),
  }
  const warnings = findWarnings({
    model,
    bands: known,
    newest,
    next,
    states,
    missing,
    stuck: stuck.map(([state]) => state),
    open,
    unit,
  })
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
      open,
    ),
    ...(next ? { cautions: openingCautions } : {}),
    ...(missing.length > 0 ? { missing_sizes: missing } : {}),
    ...(notJudged.length > 0 ? { not_judged: notJudged } : {}),
    ...(step
      ? {
          power_valve_opens_inHg: {
            value: step.opens_inHg,
            ci95: step.ci95,
            step_log: round(step.stepLog, 4),
          },
        }
      : {}),
    ...chokeNote(choke),
    shares: sharesOf(model),
    ...(banks ? { banks } : {}),
    runs_used: observed.length,
    air_known: newest.air.source !== 'unknown',
  }
}

/** Changes of what the steady mixture moves: to be made now, or later when something else `isOpen`. */
function judgedLast(wanted: readonly (Change | undefined)[], isOpen: boolean): Change[] {
  const changes: Change[] = []
  for (const change of wanted) {
    if (!change) continue
    const isNow = !isOpen && changes.length === 0
    const why = isNow
      ? 'The steady mixture is where it belongs, so this may now be judged.'
      : 'To be judged again when the steady mixture is where it belongs.'
    const said = { ...change, because: [...change.because, why] }
    changes.push(isNow ? said : { ...said, later: true })
  }
  return changes
}

/** Learned shares of each part in each state, rounded. */
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
