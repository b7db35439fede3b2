import type { AdviceResult, Change } from '../contract/advice.ts'
import type { CarProfile } from '../contract/car.ts'
import { stateLimits } from '../engine/stateLimits.ts'
import { sentenceStart } from '../units/format.ts'
import { mixtureWords } from '../units/mixtureUnit.ts'
import { accelerationChange, findAcceleration } from './accelerationAdvice.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { findNeeds } from './adviceNeeds.ts'
import { describeStates } from './adviceStates.ts'
import { cannotTell, leanPowerWarning, readingWarnings } from './adviceWarnings.ts'
import { bankLevels } from './bankLevels.ts'
import { bankSentences } from './bankWords.ts'
import { coldChange, findColdFactors } from './coldAdvice.ts'
import { round } from './compareRuns.ts'
import { findSteadyFactors, type InjectionFactors, isHeld } from './injectionFactors.ts'
import { FUEL_TABLE, typedWords } from './injectionNumbers.ts'
import { findLeakLook, lookSentence } from './leakLook.ts'
import { type AdviceState, isSamePart } from './partPaths.ts'
import type { Band } from './planCost.ts'
import { openingsNeeded } from './pumpAdvice.ts'
import { judgePump, pumpState } from './pumpVerdict.ts'
import { learnResponse } from './responseModel.ts'
import { type ObservedRun, observeRuns } from './runObservations.ts'
import { stateWords } from './stateWords.ts'

/** The next numbers to type into a throttle-body injection, in place of parts. */
export function adviseInjection(
  { observed: all, newest, today, targets, settings, unit, checked, leftOut }: AdviceEvidence,
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
  const steady = findSteadyFactors(
    today,
    (state) => {
      const entry = states[state]
      return entry?.lambda ? { lambda: entry.lambda, seconds: Number(entry.seconds) } : undefined
    },
    targets,
  )
  // The states move the baseline of the openings and of the warm-up: those are judged when they are right.
  const isRight = off.length === 0
  const acceleration = isRight ? findAcceleration(pump) : null
  const cold = isRight ? findColdFactors(all, stateLimits(car.state_limits).warm_C) : []
  const factors: InjectionFactors = {
    ...steady,
    acceleration_percent:
      acceleration && acceleration.factor !== 1 ? Math.round((acceleration.factor - 1) * 100) : null,
    acceleration,
    cold,
  }
  const steadyChanges = off.map((state): Change => {
    const factor = factors.states[state]?.factor ?? 1
    const entry = states[state]
    return {
      circuit: state === 'idle' ? 'idle' : state === 'power' ? 'power' : 'main',
      part: FUEL_TABLE,
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
  const changes = [
    ...steadyChanges,
    ...(acceleration ? [accelerationChange(acceleration, pump, newest.fitted, unit)] : []),
    ...[coldChange(all, cold)].filter((change) => change !== undefined),
  ]
  const next = changes[0] ?? null
  const { needs: steadyNeeds, notJudged } = findNeeds({
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
  const openings =
    next === null
      ? openingsNeeded(
          pump,
          all.map(({ fitted }) => fitted),
        )
      : undefined
  const needs = [...steadyNeeds, ...(openings ? [openings] : [])]
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
    states: { ...states, pump: pumpState(pump) },
    factors,
    warnings: [
      ...leftOut,
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
        ? next.part === FUEL_TABLE
          ? 'Type in the correction factors.'
          : `Type in: ${changes.map(({ part, to }) => typedWords(part, to)).join(', ')}.`
        : cannotTell(needs),
    ...(notJudged.length > 0 ? { not_judged: notJudged } : {}),
    runs_used: observed.length,
    ...(banks ? { banks } : {}),
    metering: car.metering,
  }
}
