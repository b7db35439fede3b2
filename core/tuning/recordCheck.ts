import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import { partWord } from './adviceText.ts'
import { type AdviceState, adviceStates, isSamePart, pathsOf } from './partPaths.ts'
import { learnResponse, type ResponseOptions } from './responseModel.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'
import { stateWords } from './stateWords.ts'
import { isSameValve } from './valveEffect.ts'

/** What the records of parts say, held against what was measured. */
export interface RecordCheck {
  /** The runs that may be put together, oldest first; the last is today's. */
  readonly observed: readonly ObservedRun[]
  /** What does not fit, in a sentence. */
  readonly doubt?: string
  /** State to drive again after a look at the parts: until then no part may be named upon the record. */
  readonly unclear?: AdviceState
}

/** Movement of log λ from which parts that stayed, by the record, did not: well beyond weather, fuel and sensor of the day; and in standard deviations. Chosen here. */
const MOVED = 0.03
const MOVED_SD = 4
/** Movement of log λ that a swap must be expected to make before its absence means anything, and how sure of it one must be, in standard deviations. Chosen here. */
const EXPECTED = 0.03
const EXPECTED_SD = 2.5
/** A swap that surely moved less than this share of what was expected is held not to have happened. Chosen here. */
const HAPPENED_SHARE = 0.4
/** One-sided 95 %. */
const SURELY_SD = 1.64

/**
 * Holds the record of parts against the mixture. A run without a record of its own is taken for one of the parts before it only while its mixture is
 * theirs; runs of the same parts with another mixture than today's are left out; and a swap that moved nothing, or the other way, is doubted until a second drive
 * with the same parts on record says the same.
 */
export function checkRecords(
  runs: readonly ObservedRun[],
  settings: ResponseOptions,
  unit: MixtureUnit,
): RecordCheck {
  const observed = runs.filter((run, i) => i === runs.length - 1 || fitsRecord(run, i, runs))
  const newest = observed[observed.length - 1]
  const strays = observed.slice(0, -1).flatMap((run) => {
    const moved = isSameFitted(run.fitted, newest.fitted) ? movedMost(run, newest) : undefined
    return moved ? [{ run, moved }] : []
  })
  if (strays.length === 0) return checkSwap(observed, settings, unit)
  const { run, moved } = strays[strays.length - 1]
  const how = `${stateWords[moved.state]} is ${sideWords(moved, unit)} than in a run before with the same parts`
  if (!newest.isNoted)
    return {
      observed: [{ ...newest, fitted: {} }],
      doubt: `Today's run has no record of its parts, and they are not those of the run before: ${how}. Note what is fitted.`,
    }
  const kept = observed.filter(
    (entry) => entry === newest || (isSameFitted(entry.fitted, newest.fitted) && !movedMost(entry, newest)),
  )
  if (!run.isNoted)
    return {
      observed: kept,
      doubt: 'A run has no record of its parts and not the mixture of today: it is left out.',
    }
  return {
    observed: kept,
    doubt: `Nothing is noted as changed, yet ${how}. Look for what else did; the runs before are left out.`,
  }
}

/** False for a run, not today's, without a record of its own and with another mixture than a run of the parts that it is taken to have. */
function fitsRecord(run: ObservedRun, index: number, runs: readonly ObservedRun[]): boolean {
  if (run.isNoted) return true
  const like = runs.filter(
    (entry, i) => i !== index && entry.isNoted && isSameFitted(entry.fitted, run.fitted),
  )
  return like.length === 0 || like.some((entry) => !movedMost(entry, run))
}

interface Moved {
  state: AdviceState
  logShift: number
  lambda: number
}

/** The state that moved most between two runs, in standard deviations; undefined when none moved beyond doubt. */
function movedMost(a: ObservedRun, b: ObservedRun): Moved | undefined {
  let most: (Moved & { z: number }) | undefined
  for (const state of adviceStates) {
    const from = a.logLambda[state]
    const to = b.logLambda[state]
    if (!from || !to) continue
    const logShift = to.mean - from.mean
    const sd = Math.hypot(from.se, to.se, a.daySd ?? 0, b.daySd ?? 0)
    const z = Math.abs(logShift) / sd
    if (Math.abs(logShift) < MOVED || z < MOVED_SD || (most && z <= most.z)) continue
    most = { state, logShift, lambda: Math.exp(to.mean), z }
  }
  return most
}

/** `richer by λ 0.08`. */
function sideWords({ logShift, lambda }: Omit<Moved, 'state'>, unit: MixtureUnit): string {
  const size = distanceWords(lambda * (1 - Math.exp(-logShift)), unit, lambda)
  return `${logShift < 0 ? 'richer' : 'leaner'} by ${unit.symbol} ${size}`
}

/** Today's swap, if it made none of the difference that it should have. */
function checkSwap(
  observed: readonly ObservedRun[],
  settings: ResponseOptions,
  unit: MixtureUnit,
): RecordCheck {
  const newest = observed[observed.length - 1]
  const before = observed.findLast(
    (entry) => !(isSameFitted(entry.fitted, newest.fitted) && isSameFitted(newest.fitted, entry.fitted)),
  )
  if (!before || !isSameValve(before.fitted, newest.fitted)) return { observed }
  const earlier = observed.slice(0, observed.indexOf(before) + 1)
  const model = learnResponse(earlier, pathsOf(before.fitted), settings)
  let worst: (Moved & { expected: number; sureness: number }) | undefined
  // Share of the expected movement that all states together show, weighted by what each can tell.
  let weight = 0
  let shown = 0
  let most = 0
  for (const state of adviceStates) {
    const start = model.forecast(state, before.fitted)
    const then = model.forecast(state, newest.fitted)
    const seen = newest.logLambda[state]
    if (!start || !then || !seen) continue
    const expected = then.mean - start.mean
    const sureness = Math.abs(expected) / Math.sqrt(Math.max(1e-12, then.sd ** 2 - start.sd ** 2))
    if (Math.abs(expected) < EXPECTED || sureness < EXPECTED_SD) continue
    const logShift = seen.mean - start.mean
    const told = (expected / Math.hypot(seen.se, start.sd)) ** 2
    weight += told
    shown += told * (logShift / expected)
    most = Math.max(most, Math.abs(expected))
    if (!worst || sureness > worst.sureness)
      worst = { state, logShift, lambda: Math.exp(seen.mean), expected, sureness }
  }
  if (!worst) return { observed }
  const doubt = Math.sqrt(1 / weight + ((newest.daySd ?? 0) / most) ** 2)
  if (shown / weight + SURELY_SD * doubt >= HAPPENED_SHARE) return { observed }
  const { state, lambda, expected, logShift } = worst
  const parts = Object.keys(newest.fitted).filter(
    (name) => before.fitted[name] && !isSamePart(before.fitted[name], newest.fitted[name]),
  )
  const swaps = parts.map(
    (name) => `${partWord(name)} ${before.fitted[name].label} → ${newest.fitted[name].label}`,
  )
  const word = stateWords[state]
  const made = `By the record ${swaps.join(' and ')} should have made ${word} ${sideWords({ logShift: expected, lambda: lambda * Math.exp(expected - logShift) }, unit)}`
  const isOther = logShift * expected < 0 && Math.abs(logShift) > EXPECTED / 2
  const did = isOther ? `it went ${sideWords({ logShift, lambda }, unit)}` : 'it hardly moved'
  const isRepeated = observed.filter((entry) => isSameFitted(entry.fitted, newest.fitted)).length > 1
  if (isRepeated) return { observed, doubt: `${made}; ${did}, in two drives.` }
  return {
    observed: [newest],
    doubt: `${made}; ${did}. Look which one is fitted, note it, and drive once more.`,
    unclear: state,
  }
}
