import { type Box, type CarProfile, type Fitted, fittedSchema, type Part } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { banksOf, onlyBanks } from './bankLevels.ts'
import { withoutColdPower } from './chokeFuel.ts'
import { studentQuantile } from './distributions.ts'
import { isToldAlike, onlyIdle, tellsLoad } from './loadTold.ts'
import { type AdviceState, adviceStates, isSamePart } from './partPaths.ts'
import { completedFrom, sizedPart } from './partSize.ts'
import {
  airExponentOf,
  airLogShift,
  densityOfAirKgM3,
  findRunAir,
  type RunAir,
  referenceAirOf,
  sourceDoubt,
} from './referenceAir.ts'
import type { Observation } from './responseModel.ts'
import { findStateLevels } from './stateLevels.ts'
import { surePieces } from './surePieces.ts'

/** A run with its parts, its air and the state levels that it adds to what is known. */
export interface ObservedRun extends Observation {
  readonly run: RunAnalysis
  readonly air: RunAir
  /** What brings log λ of the day to home air. */
  readonly airLogShift: number
  /** True when the run carries its own record of parts. */
  readonly isNoted: boolean
  readonly seconds: Readonly<Partial<Record<AdviceState, number>>>
}

/** Spread of density when nothing is known of the air: 9 °C and 2 kPa about the middle. Common practice, no source. */
const UNKNOWN_AIR_SD = Math.hypot(9 / 293, 2 / 100)
/** Steady seconds below which a state of a run is passed over. */
const LEAST_SECONDS = 2
/** In the power state of an engine with two sensors, the leaner bank counts if it is leaner than the mean by this share. */
const BANK_GAP = 0.005

/**
 * The runs' state levels at reference air, in the runs' order. A run without a record of its parts had those of the run before it;
 * the first ones those of `fallback`. A part noted by its label alone has the size that the box gives to this label.
 */
export function observeRuns(
  whole: readonly RunAnalysis[],
  car: CarProfile | undefined,
  fallback: Fitted | undefined,
  settings: { repeatabilityShare: number; airExponentSd: number },
  box: Box = {},
): ObservedRun[] {
  const exponent = airExponentOf(car)
  const referenceKgM3 = densityOfAirKgM3(referenceAirOf(car))
  const runs = alikeInBanks(alikeInLoad(whole)).map((run) => ({
    ...run,
    pieces: withoutColdPower(run.pieces, car),
  }))
  const airs = runs.map(findRunAir)
  const shifts = airs.map((air) => airLogShift(air.densityKgM3, referenceKgM3, exponent))
  const levels =
    findStateLevels(
      runs.map((run, i) => ({ pieces: surePieces(run, car), logShift: shifts[i] })),
      { ownCircuit: true },
    )?.levels ?? []
  const usable = usableStates(runs)
  const lostLeaner = lostLeanerLog(whole)
  let fitted: Fitted = fallback ?? {}
  return runs.map((run, i) => {
    const own = fittedOfRun(run)
    fitted = completedFrom(box, own ?? fitted)
    const airSd =
      airs[i].source === 'unknown'
        ? exponent * UNKNOWN_AIR_SD
        : Math.hypot(
            settings.airExponentSd * Math.abs(Math.log(airs[i].densityKgM3 / referenceKgM3)),
            exponent * sourceDoubt(airs[i], airs[airs.length - 1]),
          )
    const logLambda: Partial<Record<AdviceState, { mean: number; se: number }>> = {}
    const seconds: Partial<Record<AdviceState, number>> = {}
    for (const state of usable[i]) {
      const level = levels.find((entry) => entry.state === state)
      if (!level || level.seconds[i] < LEAST_SECONDS) continue
      const leaner = state === 'power' ? leanerBankLog(run) + lostLeaner : 0
      // The model reckons with normal errors: few values count as a wider normal one.
      const se = (level.se[i] * studentQuantile(0.975, level.freedom[i])) / 1.96
      logLambda[state] = { mean: level.logLambda[i] + leaner, se }
      seconds[state] = level.seconds[i]
    }
    return {
      run,
      air: airs[i],
      airLogShift: shifts[i],
      isNoted: own !== undefined,
      fitted,
      logLambda,
      seconds,
      daySd: Math.hypot(settings.repeatabilityShare, airSd),
    }
  })
}

/** Of runs that differ in how their load is told, only those speak of more than idle that were told as the newest one was. */
function alikeInLoad(runs: readonly RunAnalysis[]): readonly RunAnalysis[] {
  const newest = runs.findLast(tellsLoad)
  return runs.map((run) => (!newest || isToldAlike(run, newest) ? run : onlyIdle(run)))
}

/** Banks that the newest run of any driving tells. */
function newestBanks(runs: readonly RunAnalysis[]): ReadonlySet<1 | 2> {
  return banksOf(runs.findLast(({ pieces }) => pieces.length > 0)?.pieces ?? [])
}

/** Runs speak of those banks that the newest one tells; one that lacks such a bank is silent: the other one's offset would read as a change. */
function alikeInBanks(runs: readonly RunAnalysis[]): readonly RunAnalysis[] {
  const told = newestBanks(runs)
  return runs.map((run) => {
    const banks = banksOf(run.pieces)
    return [...told].every((bank) => banks.has(bank)) ? onlyBanks(run, told) : { ...run, pieces: [] }
  })
}

/** That the newest run lacks a bank which earlier ones told, in a sentence; undefined when it does not. `names`: what the owner calls the banks. */
export function lostBankSentence(
  runs: readonly RunAnalysis[],
  names: readonly string[] = [],
): string | undefined {
  const told = newestBanks(runs)
  const lost = ([1, 2] as const).find(
    (bank) => told.size > 0 && !told.has(bank) && runs.some((run) => banksOf(run.pieces).has(bank)),
  )
  if (!lost) return undefined
  const name = (bank: number) => names[bank - 1] || `bank ${bank}`
  const power =
    lostLeanerLog(runs) > 0
      ? ' In power it was the leaner one: by so much power is taken to be leaner than today tells.'
      : ''
  return `Today's run tells ${name(lost === 1 ? 2 : 1)} alone: ${name(lost)}, which earlier runs told, is not judged.${power}`
}

/** True for a run in which idle can be told from the rest. */
export function tellsSpeed(run: RunAnalysis): boolean {
  return run.result.channels_used.includes('engine_speed')
}

/**
 * States that each run may speak of. `running` is all driving of a run in which load is not told: beside a run that tells it, it would be taken
 * for one more circuit; and without engine speed it holds idle as well.
 */
function usableStates(runs: readonly RunAnalysis[]): (readonly AdviceState[])[] {
  const anyLoad = runs.some(tellsLoad)
  return runs.map((run) =>
    adviceStates.filter((state) => state !== 'running' || (!anyLoad && tellsSpeed(run))),
  )
}

/** Parts of a run as its record gives them, with their sizes in mm; undefined without a readable record. */
export function fittedOfRun(run: RunAnalysis): Fitted | undefined {
  const parsed = fittedSchema.safeParse(run.result.run.fitted)
  if (!parsed.success || Object.keys(parsed.data).length === 0) return undefined
  const entries = Object.entries(parsed.data).map(([name, part]) => [name, sizedOrAsNoted(part)])
  return Object.fromEntries(entries)
}

/** A size on record that cannot be read leaves the part without one. */
function sizedOrAsNoted(part: Part): Part {
  try {
    return sizedPart(part)
  } catch (error) {
    if (error instanceof RangeError) return part
    throw error
  }
}

/** True when two sets of parts are the same in every part that both name. */
export function isSameFitted(a: Fitted, b: Fitted): boolean {
  return Object.keys(a).every((name) => !b[name] || isSamePart(a[name], b[name]))
}

/** Mean log λ of each bank in the power state; NaN for a bank without. */
function powerLogs(run: RunAnalysis): readonly [number, number] {
  const sums = [0, 0]
  const seconds = [0, 0]
  for (const piece of run.pieces) {
    if (piece.state !== 'power' || !(piece.lambda > 0)) continue
    sums[piece.bank - 1] += piece.seconds * Math.log(piece.lambda)
    seconds[piece.bank - 1] += piece.seconds
  }
  return [sums[0] / seconds[0], sums[1] / seconds[1]]
}

/** How much leaner than the mean of both banks the leaner one is in the power state, log λ; 0 with one sensor. */
function leanerBankLog(run: RunAnalysis): number {
  const [one, two] = powerLogs(run)
  const gap = Math.abs(one - two) / 2
  return gap > BANK_GAP ? gap : 0
}

/** How much leaner in the power state a bank was than the only one that the newest run tells, as the last run with both told it, log λ; 0 when it was not. */
function lostLeanerLog(runs: readonly RunAnalysis[]): number {
  const told = newestBanks(runs)
  if (told.size !== 1) return 0
  const both = runs.map(powerLogs).findLast(([one, two]) => Number.isFinite(one + two))
  if (!both) return 0
  const gap = told.has(1) ? both[1] - both[0] : both[0] - both[1]
  return gap > BANK_GAP ? gap : 0
}
