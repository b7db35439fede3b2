import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import type { AdviceState } from './partPaths.ts'
import type { Band } from './planCost.ts'
import { airExponentOf, airLogShift, densityOfAirKgM3, findRunAir, referenceAirOf } from './referenceAir.ts'
import { findStateLevels } from './stateLevels.ts'

/** How one bank stands in one state, at reference air. */
export interface BankLevel {
  lambda: number
  ci95: [number, number]
  seconds: number
  verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data'
}

/** Steady seconds below which a bank's state is not judged. */
const LEAST_SECONDS = 5

/** Banks that a run's pieces come from. */
export function banksOf(pieces: readonly SteadyPiece[]): Set<1 | 2> {
  return new Set(pieces.map((piece) => piece.bank))
}

/** The run with the pieces of these banks alone. */
export function onlyBanks(run: RunAnalysis, banks: ReadonlySet<1 | 2>): RunAnalysis {
  return { ...run, pieces: run.pieces.filter((piece) => banks.has(piece.bank)) }
}

/**
 * Levels of each bank of a run with two sensors; undefined with one. Jets feed both banks alike: what they differ by is an air leak, a
 * tight valve or unequal screws.
 */
export function bankLevels(
  run: RunAnalysis,
  bands: ReadonlyMap<AdviceState, Band>,
  car: CarProfile | undefined,
): Record<string, Partial<Record<AdviceState, BankLevel>>> | undefined {
  if (banksOf(run.pieces).size < 2) return undefined
  const density = findRunAir(run).densityKgM3
  const logShift = airLogShift(density, densityOfAirKgM3(referenceAirOf(car)), airExponentOf(car))
  const banks: Record<string, Partial<Record<AdviceState, BankLevel>>> = {}
  for (const bank of [1, 2] as const) {
    const { pieces } = onlyBanks(run, new Set([bank]))
    const entries: Partial<Record<AdviceState, BankLevel>> = {}
    for (const level of findStateLevels([{ pieces, logShift }])?.levels ?? []) {
      const state = level.state as AdviceState
      const band = bands.get(state)
      if (band) entries[state] = judge(level.logLambda[0], level.se[0], level.seconds[0], band)
    }
    banks[bank] = entries
  }
  return banks
}

function judge(logLambda: number, se: number, seconds: number, band: Band): BankLevel {
  const isOutside = logLambda > band.high || logLambda < band.low
  const verdict = isOutside ? (logLambda > band.high ? 'lean' : 'rich') : 'on_target'
  const at = (log: number) => Math.round(Math.exp(log) * 1e4) / 1e4
  return {
    lambda: at(logLambda),
    ci95: [at(logLambda - 1.96 * se), at(logLambda + 1.96 * se)],
    seconds: Math.round(seconds),
    verdict: seconds < LEAST_SECONDS ? 'not_enough_data' : verdict,
  }
}
