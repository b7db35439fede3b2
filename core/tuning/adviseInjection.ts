import type { AdviceResult, Change } from '../contract/advice.ts'
import type { CarProfile } from '../contract/car.ts'
import { sentenceStart } from '../units/format.ts'
import { mixtureWords } from '../units/mixtureUnit.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { findNeeds } from './adviceNeeds.ts'
import { describeStates } from './adviceStates.ts'
import { cannotTell, leanPowerWarning, readingWarnings } from './adviceWarnings.ts'
import { bankLevels } from './bankLevels.ts'
import { bankSentences } from './bankWords.ts'
import { round } from './compareRuns.ts'
import { findInjectionFactors, type InjectionFactors, isHeld } from './injectionFactors.ts'
import { findLeakLook, lookSentence } from './leakLook.ts'
import { type AdviceState, isSamePart } from './partPaths.ts'
import type { Band } from './planCost.ts'
import { judgePump } from './pumpAdvice.ts'
import { learnResponse } from './responseModel.ts'
import { type ObservedRun, observeRuns } from './runObservations.ts'
import { stateWords } from './stateWords.ts'

/** The next numbers to type into a throttle-body injection, in place of parts. */
export function adviseInjection(
  { observed: all, newest, today, targets, settings, unit, checked }: AdviceEvidence,
  car: CarProfile,
  bands: ReadonlyMap<AdviceState, Band>,
): AdviceResult {
  // Numbers typed in are no parts on record: only runs noted with the same table as today's are one.
  const table = newest.fitted.fuel_table
  const isOneTable = (entry: ObservedRun) => table !== undefined && isSamePart(entry.fitted.fuel_table, table)
  const alike = all.filter((entry) => entry === newest || isOneTable(entry))
  const runs = alike.map((entry) => entry.run)
  const observed = observeRuns(runs, car, undefined, settings)
  const model = learnResponse(observed, [], settings)
  const known = new Map([...bands].filter(([state]) => model.forecast(state, model.base)))
  const states = describeStates(model, known, observed)
  const look = findLeakLook({ observed: all, newest, checked }, states)
  const banks = bankLevels(today, known, car)
  const pump = judgePump([today], car)
  const off = [...known.keys()]
    .filter((state) => states[state].verdict === 'rich' || states[state].verdict === 'lean')
    .sort((a, b) => Math.abs(Number(states[b].error)) - Math.abs(Number(states[a].error)))
  // The states move the baseline of the openings: those are judged when they are right.
  const factors: InjectionFactors = findInjectionFactors(
    today,
    (state) => {
      const entry = states[state]
      return entry?.lambda ? { lambda: entry.lambda, seconds: Number(entry.seconds) } : undefined
    },
    targets,
    off.length === 0 && pump.pattern && pump.verdict === 'lean' ? pump.peak : null,
  )
  const changes = off.map((state): Change => {
    const factor = factors.states[state]?.factor ?? 1
    const entry = states[state]
    return {
      circuit: state === 'idle' ? 'idle' : state === 'power' ? 'power' : 'main',
      part: 'fuel_table',
      direction: factor > 1 ? 'richer' : 'leaner',
      from: { label: 'as it is' },
      to: { label: `× ${factor.toFixed(3)} in ${stateWords[state]}` },
      area_factor: factor,
      expected_lambda: round(entry.lambda! / factor, 4),
      expected_ci95: entry.ci95 && [round(entry.ci95[0] / factor, 4), round(entry.ci95[1] / factor, 4)],
      because: [
        `${sentenceStart(stateWords[state])} reads ${mixtureWords(entry.lambda!, unit)}, target ${unit.of(entry.target!).toFixed(unit.decimals)}: fuel × ${factor.toFixed(3)}.`,
        ...(isHeld(factor)
          ? ['So much is not typed in at once: it is to be done in two rounds, with a drive between.']
          : []),
        'Type in the factors of the table below, cell by cell; the same percentage everywhere else in the state.',
      ],
    }
  })
  const next = changes[0] ?? null
  const { needs, notJudged } = findNeeds({
    model,
    bands,
    known,
    observed,
    hasChange: next !== null,
    unclear: [],
    today,
    unit,
  })
  const bankTexts = bankSentences(banks, unit, car.sensor?.bank_names)
  const open = [...bankTexts, ...notJudged.map(({ text }) => text)]
  const lead =
    bankTexts.length > 0
      ? 'Change nothing that feeds both banks.'
      : 'Change nothing: what was driven is where it belongs.'
  const done = changes.length === 0 && needs.length === 0
  return {
    format: 'floatbowl-advice 1',
    done,
    next,
    also: changes.slice(1),
    ...(next === null && needs.length > 0 ? { needs } : {}),
    ...(look ? { look } : {}),
    states,
    factors,
    warnings: [
      ...(look ? [lookSentence(look)] : []),
      ...open,
      ...leanPowerWarning(states, next === null && needs.some(({ state }) => state === 'power'), unit),
      ...readingWarnings(states, today, bankTexts.length > 0, look !== undefined),
      'The injection measures its own air: no air correction was applied, a hot day may read a little otherwise.',
    ],
    summary: done
      ? open.length > 0
        ? [lead, ...open].join(' ')
        : 'Change nothing: every state is where it belongs.'
      : next
        ? 'Type in the correction factors.'
        : cannotTell(needs),
    ...(notJudged.length > 0 ? { not_judged: notJudged } : {}),
    runs_used: observed.length,
    ...(banks ? { banks } : {}),
    metering: car.metering,
  }
}
