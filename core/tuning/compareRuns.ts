import type { ComparisonResult, Difference } from '../contract/advice.ts'
import type { Air, CarProfile } from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { mixtureUnitOf } from '../units/mixtureUnit.ts'
import { banksOf, onlyBanks } from './bankLevels.ts'
import { rowPattern } from './changePattern.ts'
import { withoutColdPower } from './chokeFuel.ts'
import { type Decision, decideDifference, judgeState, type StateDifference } from './compareDecision.ts'
import { compareSideBySide } from './compareSideBySide.ts'
import { comparisonText } from './comparisonText.ts'
import { differenceMap } from './differenceMap.ts'
import { studentQuantile } from './distributions.ts'
import { drivenPieces } from './drivenPieces.ts'
import { asRunAnalysis } from './evidence.ts'
import { isToldAlike, statesByLoad, tellsLoad, withoutStatesByLoad } from './loadTold.ts'
import { twoFuels } from './otherFuel.ts'
import {
  airExponentOf,
  airLogShift,
  densityOfAirKgM3,
  findRunAir,
  referenceAirOf,
  sourceDoubt,
} from './referenceAir.ts'
import { fittedOfRun } from './runObservations.ts'
import { findStateLevels, type StateLevels } from './stateLevels.ts'

export interface CompareOptions {
  /** The car: home air, metering. Default: as run B carries it, else run A. */
  car?: CarProfile
  /** Air that both runs are brought to. Default: the car's home air, else 20 °C, 100 kPa, dry. */
  referenceAir?: Air
  /** Unit in which the sentence gives distances: `lambda`, `afr`, `phi`. Default: as the car's profile says, else λ. Figures of the result stay λ. */
  mixtureUnit?: string
  /**
   * Standard deviation, as a share of λ, by which one unchanged car reads otherwise from day to day: sensor and its ageing, what
   * the air record misses (1 °C is 0.17 %), another filling of fuel. More widens the intervals and finds less. Common practice, no source.
   */
  repeatabilityShare?: number
  /** Standard deviation of the exponent of air density in λ: real carburettors scatter about √ρ. Common practice, no source. */
  airExponentSd?: number
  /** Share of unchanged pairs that may be called different, over all states together. */
  falseAlarmShare?: number
  /** Steady seconds below which a state is not judged. */
  leastSeconds?: number
  /** Half width of the interval, as a share of λ, above which a state is not judged: it could hide a whole jet size twice over. */
  widestShare?: number
}

export type CompareSettings = Required<Omit<CompareOptions, 'car' | 'referenceAir' | 'mixtureUnit'>>

/** Values used where `CompareOptions` names none. */
export const defaultCompareOptions: Readonly<CompareSettings> = Object.freeze({
  repeatabilityShare: 0.0025,
  airExponentSd: 0.03,
  falseAlarmShare: 0.05,
  leastSeconds: 5,
  widestShare: 0.06,
})

/** Weather in which nothing is known of the air: 9 °C and 2 kPa about the middle, as a share of density. Common practice, no source. */
const UNKNOWN_AIR_SD = Math.hypot(9 / 293, 2 / 100)

/**
 * Is run B different from run A: per state B − A in λ at reference air with a 95 % interval, and one verdict. Runs are matched
 * by state and map cell. The interval accounts for correlation and drift within the runs and for day-to-day repeatability.
 *
 * One decision is taken for all states together (a common shift, or any one state, sharing `falseAlarmShare`): a state is
 * called richer or leaner only if that decision finds a difference and the state's own 95 % interval leaves zero out. So many
 * states do not make many false alarms. Throws `RangeError` if a run is no analysis.
 */
export function compareRuns(
  a: RunAnalysis | AnalysisResult,
  b: RunAnalysis | AnalysisResult,
  options: CompareOptions = {},
): ComparisonResult {
  const given = [asRunAnalysis(a), asRunAnalysis(b)]
  const car = options.car ?? given[1].car ?? given[0].car
  const whole = given.map((run) => ({ ...run, pieces: withoutColdPower(drivenPieces(run.pieces), car) }))
  // A bank that one run lacks is left out: its own offset would read as a change.
  const seen = whole.map((run) => banksOf(run.pieces))
  const shared = new Set(([1, 2] as const).filter((bank) => seen.every((banks) => banks.has(bank))))
  const isPartial = shared.size > 0 && seen.some((banks) => banks.size > shared.size)
  const [runA, runB] = isPartial ? whole.map((run) => onlyBanks(run, shared)) : whole
  const settings = { ...defaultCompareOptions, ...withoutUndefined(options) }
  // A carburettor before its conversion is brought to home air, the injection after it is not.
  const exponents = [runA, runB].map((run) => airExponentOf(options.car ?? run.car ?? car))
  const referenceKgM3 = densityOfAirKgM3(options.referenceAir ?? referenceAirOf(car))
  const airs = [findRunAir(runA), findRunAir(runB)]
  const airKnown = airs.every((air) => air.source !== 'unknown')
  const shifts = airs.map((air, i) =>
    airKnown ? airLogShift(air.densityKgM3, referenceKgM3, exponents[i]) : 0,
  )
  const isAlike = isToldAlike(runA, runB)
  const set = findStateLevels(
    [runA, runB].map((run, i) => ({
      pieces: (isAlike ? run : withoutStatesByLoad(run)).pieces,
      logShift: shifts[i],
    })),
  )
  const levels = set?.levels ?? []
  const isMixed = exponents[0] !== exponents[1]
  const densities = airs.map((air, i) => (isMixed && exponents[i] === 0 ? referenceKgM3 : air.densityKgM3))
  const airSd = airKnown
    ? Math.hypot(
        settings.airExponentSd * Math.abs(Math.log(densities[0] / densities[1])),
        Math.max(...exponents) * sourceDoubt(airs[0], airs[1]),
      )
    : Math.max(...exponents, 0.1) * UNKNOWN_AIR_SD * Math.SQRT2
  const daySd = Math.hypot(settings.repeatabilityShare * Math.SQRT2, airSd)

  const judged = levels.flatMap(
    (level) => judgeState(level, daySd, settings.leastSeconds, settings.widestShare) ?? [],
  )
  const decision = set
    ? decideDifference(
        set,
        judged,
        daySd,
        settings.falseAlarmShare,
        rowPattern(set.rows, fittedOfRun(runA), fittedOfRun(runB)),
      )
    : undefined
  const isDifferent = decision?.isDifferent ?? false
  const states: ComparisonResult['states'] = {}
  for (const level of levels) {
    states[level.state] = describe(
      level,
      judged.find((entry) => entry.level === level),
      isDifferent,
    )
  }
  if (!isAlike)
    for (const state of statesByLoad) states[state] = notAlike(state, [runA.result, runB.result], shifts)
  const verdict = overall(states, decision)
  const loadless = [runA, runB].flatMap((run, i) => (tellsLoad(run) ? [] : [i === 0 ? 'first' : 'second']))
  return {
    format: 'floatbowl-compare 1',
    states,
    air_corrected: airKnown && exponents.some((exponent) => exponent !== 0),
    verdict,
    text: comparisonText({
      verdict,
      states,
      airKnown,
      injections: exponents.filter((exponent) => exponent === 0).length,
      loadless: loadless.length === 1 ? loadless[0] : undefined,
      isAlike,
      isTwoCars: areTwoCars(runA, runB),
      fuels: twoFuels(runA, runB),
      unit: mixtureUnitOf(options.mixtureUnit ?? car?.units?.mixture, car?.fuel),
    }),
    air: {
      reference: options.referenceAir ?? referenceAirOf(car),
      a: { source: airs[0].source, ...(airs[0].air ?? {}) },
      b: { source: airs[1].source, ...(airs[1].air ?? {}) },
      lambda_factor_a: round(Math.exp(shifts[0]), 5),
      lambda_factor_b: round(Math.exp(shifts[1]), 5),
    },
    ...compareSideBySide(runA.result, runB.result),
    ...(shared.size === 2 ? { banks: compareBanks(runA, runB, options) } : {}),
    map: differenceMap(runA, runB, shifts[0], shifts[1]),
  }
}

/** A state that is another one in either run: each one's own λ, at home air, and no difference of the two. */
function notAlike(
  state: (typeof statesByLoad)[number],
  results: readonly AnalysisResult[],
  shifts: number[],
) {
  const [a, b] = results.map(({ mixture }, i) => {
    const own = mixture[state]
    const lambda = typeof own?.lambda_median === 'number' ? own.lambda_median * Math.exp(shifts[i]) : null
    return { seconds: round(own?.seconds ?? 0, 1), lambda: lambda === null ? null : round(lambda, 4) }
  })
  return {
    difference: null,
    ci95: null,
    verdict: 'not_enough_data' as Difference,
    seconds_a: a.seconds,
    seconds_b: b.seconds,
    lambda_a: a.lambda,
    lambda_b: b.lambda,
  }
}

/** True when the runs name two cars. */
function areTwoCars(a: RunAnalysis, b: RunAnalysis): boolean {
  const [one, other] = [a, b].map((run) => run.result.run.car ?? run.car?.id)
  return one !== undefined && other !== undefined && one !== other
}

/** The same comparison for each bank alone. */
function compareBanks(a: RunAnalysis, b: RunAnalysis, options: CompareOptions) {
  const banks: Record<string, Pick<ComparisonResult, 'states' | 'verdict'>> = {}
  for (const bank of [1, 2] as const) {
    const only = new Set([bank])
    const { states, verdict } = compareRuns(onlyBanks(a, only), onlyBanks(b, only), options)
    banks[bank] = { states, verdict }
  }
  return banks
}

function describe(level: StateLevels, found: StateDifference | undefined, isDifferent: boolean) {
  const common = {
    seconds_a: round(level.seconds[0], 1),
    seconds_b: round(level.seconds[1], 1),
    lambda_a: Number.isFinite(level.logLambda[0]) ? round(Math.exp(level.logLambda[0]), 4) : null,
    lambda_b: Number.isFinite(level.logLambda[1]) ? round(Math.exp(level.logLambda[1]), 4) : null,
  }
  if (!found) {
    return { difference: null, ci95: null, verdict: 'not_enough_data' as Difference, ...common }
  }
  const middle = Math.exp((level.logLambda[0] + level.logLambda[1]) / 2)
  const half = studentQuantile(0.975, found.freedom) * found.se
  const leavesZeroOut = Math.abs(found.difference) > half
  const verdict: Difference =
    isDifferent && leavesZeroOut ? (found.difference > 0 ? 'leaner' : 'richer') : 'no_difference'
  return {
    difference: round(middle * found.difference, 5),
    ci95: [round(middle * (found.difference - half), 5), round(middle * (found.difference + half), 5)] as [
      number,
      number,
    ],
    verdict,
    ...common,
  }
}

function overall(
  states: ComparisonResult['states'],
  decision: Decision | undefined,
): ComparisonResult['verdict'] {
  const verdicts = Object.values(states).map((entry) => entry.verdict)
  if (!decision || verdicts.every((verdict) => verdict === 'not_enough_data')) return 'not_enough_data'
  // Of what was hardly compared nobody can say that it did not change.
  if (!decision.isDifferent) return isMostlyCompared(states) ? 'no_difference' : 'not_enough_data'
  const leaner = verdicts.includes('leaner')
  const richer = verdicts.includes('richer')
  if (leaner && richer) return 'mixed'
  if (leaner) return 'leaner'
  if (richer) return 'richer'
  // No one state shows it alone: the way the shift as a whole points.
  if (decision.isMixed) return 'mixed'
  return decision.shift > 0 ? 'leaner' : 'richer'
}

/** Share of a run's steady seconds that must lie in states that could be compared for the two to be called alike. Chosen here. */
const MOSTLY = 0.5

function isMostlyCompared(states: ComparisonResult['states']): boolean {
  const entries = Object.values(states)
  return (['seconds_a', 'seconds_b'] as const).every((side) => {
    const secondsOf = (list: typeof entries) => list.reduce((sum, entry) => sum + (entry[side] ?? 0), 0)
    const compared = entries.filter((entry) => entry.verdict !== 'not_enough_data')
    return secondsOf(compared) >= MOSTLY * secondsOf(entries)
  })
}

function withoutUndefined(options: CompareOptions): Partial<CompareOptions> {
  return Object.fromEntries(Object.entries(options).filter(([, value]) => value !== undefined))
}

/** Rounds to a number of decimals; NaN stays NaN. */
export function round(value: number, decimals: number): number {
  const scale = 10 ** decimals
  return Math.round(value * scale) / scale
}
