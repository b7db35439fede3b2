import type { AdviceResult, Change } from '../contract/advice.ts'
import { type Box, isInjection, type Part, type PartsFile } from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { type AdviceEvidence, type AdviseOptions, gatherEvidence } from './adviceEvidence.ts'
import { type Left, whatStaysOff } from './adviceLeft.ts'
import { findNeeds, SURE_ENOUGH } from './adviceNeeds.ts'
import { unsizedValveSentence, unusedSentence } from './adviceParts.ts'
import { type Plan, planOf, steadyChanges } from './advicePlan.ts'
import { type AdviceStanding, judgeStanding } from './adviceStanding.ts'
import { findWarnings, summaryOf } from './adviceWarnings.ts'
import { adviseInjection } from './adviseInjection.ts'
import { bankLevels } from './bankLevels.ts'
import { bankSentences } from './bankWords.ts'
import { fullThrottleCautions, openingCautions } from './cautions.ts'
import { adviseChoke, chokeNote, judgeChoke } from './chokeAdvice.ts'
import { round } from './compareRuns.ts'
import { earlyValveSentence } from './earlyValve.ts'
import type { EnrichmentStep } from './enrichmentStep.ts'
import { clashSentences } from './flowFigures.ts'
import { findLeakLook, type LeakLook, lookSentence } from './leakLook.ts'
import { adviceStates, hasCircuit } from './partPaths.ts'
import { advisePump, openingsNeeded, pumpRemark } from './pumpAdvice.ts'
import { judgePump, type PumpVerdict, pumpState } from './pumpVerdict.ts'
import type { ResponseModel } from './responseModel.ts'
import { isSameFitted } from './runObservations.ts'
import { sizesWord } from './sizeWords.ts'
import { stateWords } from './stateWords.ts'
import { transferSentence } from './transferWords.ts'

export { type AdviseOptions, defaultAdviseOptions } from './adviceEvidence.ts'

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
  const evidence = gatherEvidence(runs, box, options)
  const standing = judgeStanding(evidence)
  if (evidence.car && isInjection(evidence.car))
    return adviseInjection(evidence, evidence.car, standing.bands)
  const plan = planOf(evidence, standing)
  const steady = steadyChanges(evidence, standing, plan)
  const pump = judgeTodaysPump(evidence)
  const asked = withOpenings(evidence, whatToDrive(evidence, standing, plan, steady.length > 0), steady, pump)
  const left = whatStaysOff(evidence, standing, plan, asked, steady.length > 0)
  const isOpen = steady.length + asked.needs.length + left.stuck.length > 0 || left.unsized !== undefined
  const isJudged = Object.values(asked.states).some(({ verdict }) => verdict !== 'not_enough_data')
  const last = judgeLast(evidence, pump, isOpen, isJudged)
  const changes = [...steady, ...last.changes].map(
    (change): Change => ({
      ...change,
      sizes: sizesWord(change.from as Part, change.to as Part, evidence.boreUnit),
    }),
  )
  const next = changes.length > 0 && !changes[0].later ? changes[0] : null
  const done = next === null && !isOpen
  const states = { ...asked.states, pump: pumpState(pump) }
  const look = evidence.record.unclear ? undefined : findLeakLook(evidence, states)
  return {
    format: 'floatbowl-advice 1',
    done,
    next,
    also: next ? changes.slice(1) : changes,
    ...drivingFields(next, asked.needs),
    states,
    ...wordsOf(evidence, standing, {
      look,
      done,
      next,
      asked,
      left,
      states,
      changes,
      pump: last.remark,
    }),
    ...cautionsField(next, asked.needs),
    ...(look ? { look } : {}),
    ...(left.missing.length > 0 ? { missing_sizes: left.missing } : {}),
    ...(asked.notJudged.length > 0 ? { not_judged: asked.notJudged } : {}),
    ...openingField(standing.step),
    ...chokeNote(last.choke),
    shares: sharesOf(standing.model),
    ...(asked.banks ? { banks: asked.banks } : {}),
    runs_used: evidence.observed.length,
    air_known: evidence.newest.air.source !== 'unknown',
  }
}

/** Steady driving, s, that tells whether a swap on record happened. Chosen here. */
const LOOK_AND_DRIVE_S = 30

type Asked = ReturnType<typeof whatToDrive>

/** What more driving must tell; the states as far as they may then be judged, and the banks. */
function whatToDrive(
  { observed, today, car, unit, record }: AdviceEvidence,
  { model, bands, known, states: seen }: AdviceStanding,
  { chosen }: Plan,
  hasChange: boolean,
) {
  const { needs: wanted, notJudged } = findNeeds({
    model,
    bands,
    known,
    observed,
    hasChange,
    unclear: chosen.unclear,
    today,
    unit,
  })
  const needs = record.unclear
    ? [{ state: record.unclear, seconds: LOOK_AND_DRIVE_S, why: record.doubt }]
    : wanted
  const states = { ...seen }
  for (const { state } of notJudged) {
    const target = bands.get(state)!.target.lambda
    const entry = states[state] ?? { verdict: 'not_enough_data', lambda: null, ci95: null, target }
    // Lean under load is said even where little tells of it.
    states[state] = state === 'power' ? entry : { ...entry, verdict: 'not_enough_data' }
  }
  return { needs, notJudged, states, banks: bankLevels(today, known, car) }
}

/** The pump as the runs with today's parts tell it. */
function judgeTodaysPump({ observed, newest, car }: AdviceEvidence): PumpVerdict {
  const alike = observed.filter((entry) => isSameFitted(entry.fitted, newest.fitted))
  return judgePump(
    alike.map((entry) => entry.run),
    car,
  )
}

/** Where the steady mixture asks for nothing more, a pump part that was just changed may. */
function withOpenings(
  { observed, car }: AdviceEvidence,
  asked: Asked,
  steady: readonly Change[],
  pump: PumpVerdict,
): Asked {
  if (steady.length + asked.needs.length > 0 || !hasCircuit('pump', car?.circuits)) return asked
  const need = openingsNeeded(
    pump,
    observed.map((entry) => entry.fitted),
  )
  return need ? { ...asked, needs: [need] } : asked
}

/**
 * Pump and choke, which the steady mixture moves: changes to be made now, or later when something else `isOpen`. The pump waits for a steady mixture
 * that `isJudged`; not so a choke that hides it.
 */
function judgeLast(
  { observed, newest, box, car, unit }: AdviceEvidence,
  pump: PumpVerdict,
  isOpen: boolean,
  isJudged: boolean,
) {
  const { fitted } = newest
  const tried = observed.map((entry) => entry.fitted)
  const choke = judgeChoke(observed)
  const wanted = [advisePump(pump, fitted, box, tried, unit), adviseChoke(choke, fitted, box, observed)]
  const changes: Change[] = []
  for (const change of wanted) {
    if (!change || !hasCircuit(change.circuit, car?.circuits)) continue
    const hidesAll = change.circuit === 'choke' && choke === 'late'
    const isNow = !isOpen && changes.every(({ later }) => later) && (isJudged || hidesAll)
    const why = isNow
      ? isJudged
        ? 'The steady mixture is where it belongs, so this may now be judged.'
        : 'It feeds the warm engine for so long that nothing else could be judged.'
      : 'To be judged again when the steady mixture is where it belongs.'
    const said = { ...change, because: [...change.because, why] }
    if (isNow) changes.unshift(said)
    else changes.push({ ...said, later: true })
  }
  const isPumpOpen = !isOpen && !wanted[0] && hasCircuit('pump', car?.circuits)
  return { choke, changes, remark: isPumpOpen ? pumpRemark(pump, fitted, tried) : undefined }
}

/** What to mind before the next step: an open carburettor, or full throttle where it is asked for. */
function cautionsField(next: Change | null, needs: Asked['needs']) {
  if (next) return next.part === 'choke' ? {} : { cautions: openingCautions }
  return needs.some(({ state }) => state === 'power') ? { cautions: fullThrottleCautions } : {}
}

/** Driving that data wait for, or that a change may go before. */
function drivingFields(next: Change | null, needs: Asked['needs']) {
  if (needs.length === 0) return {}
  return next === null ? { needs } : { also_needs: needs }
}

/** The advice in sentences: what it warns of, and the whole in one. */
function wordsOf(
  { newest, box, car, unit, record, leftOut, flowRatios }: AdviceEvidence,
  { model, known, step, earlyValve }: AdviceStanding,
  said: {
    done: boolean
    next: Change | null
    changes: readonly Change[]
    asked: Asked
    left: Left
    states: AdviceResult['states']
    pump: string | undefined
    look: LeakLook | undefined
  },
) {
  const { look, done, next, changes, asked, left, states, pump } = said
  const open = {
    banks: bankSentences(asked.banks, unit, car?.sensor?.bank_names),
    notJudged: asked.notJudged.map(({ text }) => text),
    unsized: left.unsized,
    pump,
    transfer: done ? transferSentence(newest.run, car, unit) : undefined,
    valve:
      step && earlyValve === 'box_has_none' ? earlyValveSentence(newest.fitted, step.opens_inHg) : undefined,
    look: look && lookSentence(look),
    doubt: record.doubt,
    leftOut,
    isDoubtful: record.unclear !== undefined || (record.doubt !== undefined && left.unsized !== undefined),
    nearEdge: [...known.keys()].filter(
      (state) => states[state].verdict === 'on_target' && Number(states[state].inside) < SURE_ENOUGH,
    ),
  }
  const { missing, stuck, off } = left
  const unused = [
    unsizedValveSentence(newest.fitted, off, step?.opens_inHg),
    unusedSentence(newest.fitted, box),
  ].filter((text) => text !== undefined)
  return {
    warnings: findWarnings({
      model,
      bands: known,
      newest,
      next,
      hasLater: changes.filter((change) => !change.later).length > 1,
      isAsked: asked.needs.some(({ state }) => state === 'power'),
      unused: done ? [] : [...clashSentences(flowRatios), ...(next ? [] : unused)],
      airLogShift: newest.airLogShift,
      states,
      missing,
      stuck,
      open,
      unit,
    }),
    summary: summaryOf({
      done,
      next,
      needs: asked.needs,
      missing,
      stuck,
      off: off.map((state) => stateWords[state]),
      open,
    }),
  }
}

function openingField(step: EnrichmentStep | undefined) {
  if (!step) return {}
  const { opens_inHg, ci95, stepLog } = step
  return { power_valve_opens_inHg: { value: opens_inHg, ci95, step_log: round(stepLog, 4) } }
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
