import type { CarProfile, Circuit, Target, Targets } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'
import { defaultCompareOptions } from './compareRuns.ts'
import { studentQuantile } from './distributions.ts'
import { drivingWords } from './drivingWords.ts'
import { airExponentOf, airLogShift, densityOfAirKgM3, findRunAir, referenceAirOf } from './referenceAir.ts'
import { findStateLevels } from './stateLevels.ts'

export interface VerdictOptions {
  car?: CarProfile
  targets?: Targets
  repeatabilityShare?: number
}

/** Steady seconds wanted in each state before its circuit is judged. */
const WANTED_S: Readonly<Record<string, number>> = {
  idle: 20,
  transfer: 10,
  cruise: 30,
  part_throttle: 15,
  power: 6,
  secondary: 4,
}
/** Where the mixture of some steady pieces stands against a target, at the car's home air. */
export interface Standing {
  error: number
  half95: number
  seconds: number
  target: Target
  lambda: number
}

/**
 * Level of these pieces, clear of how they were driven, with its 95 % interval; NaN without pieces. With pieces of idle beside them, those
 * so close to idle's air flow that the idle circuit still feeds them are left out.
 */
export function standingOf(
  run: RunAnalysis,
  pieces: readonly SteadyPiece[],
  target: Target,
  car: CarProfile | undefined,
  options: VerdictOptions,
  idle: readonly SteadyPiece[] = [],
): Standing {
  const none = { error: Number.NaN, half95: Number.NaN, seconds: 0, target, lambda: Number.NaN }
  if (pieces.length === 0) return none
  const logShift = logShiftOf(run, car)
  const { state } = pieces[0]
  const level = findStateLevels([{ pieces: [...idle, ...pieces], logShift }], {
    ownCircuit: true,
  })?.levels.find((entry) => entry.state === state)
  if (!level) return none
  const day = options.repeatabilityShare ?? defaultCompareOptions.repeatabilityShare
  const lambda = Math.exp(level.logLambda[0])
  return {
    error: lambda - target.lambda,
    half95: lambda * Math.hypot(studentQuantile(0.975, level.freedom[0]) * level.se[0], 1.96 * day),
    seconds: level.seconds[0],
    target,
    lambda,
  }
}

/** What brings log λ of the run's air to the car's home air. */
function logShiftOf(run: RunAnalysis, car: CarProfile | undefined): number {
  const { densityKgM3 } = findRunAir(run)
  return airLogShift(densityKgM3, densityOfAirKgM3(referenceAirOf(car)), airExponentOf(car))
}

/** Shares of the time inside the band, and outside it on each side, under and over which a state is lean and rich in turn. Chosen here. */
const MOST_INSIDE = 0.4
const LEAST_OUTSIDE = 0.1

/** True where these pieces are lean of the band for a part of the time and rich of it for another, and seldom inside: their mean says little. */
export function isInTurn(
  run: RunAnalysis,
  pieces: readonly SteadyPiece[],
  target: Target,
  car: CarProfile | undefined,
): boolean {
  const shift = Math.exp(logShiftOf(run, car))
  let all = 0
  let lean = 0
  let rich = 0
  for (const { lambda, seconds } of pieces) {
    const error = lambda * shift - target.lambda
    all += seconds
    if (error > target.lean) lean += seconds
    else if (error < -target.rich) rich += seconds
  }
  return all - lean - rich < MOST_INSIDE * all && Math.min(lean, rich) > LEAST_OUTSIDE * all
}

/** The row of a circuit whose mixture stands so. */
export function rowOf(
  circuit: Circuit,
  name: string,
  detail: string,
  wanted: string,
  standing: Standing,
): CircuitVerdict {
  const { error, half95, seconds, target } = standing
  const half = (target.rich + target.lean) / 2
  const isOutside = error > target.lean || error < -target.rich
  const surelyOutside = error - half95 > target.lean || error + half95 < -target.rich
  const wantedS = WANTED_S[wanted] ?? 20
  const enough = seconds >= Math.min(5, wantedS) && (surelyOutside || half95 < 1.2 * half)
  const verdict = !enough ? 'not_enough_data' : !isOutside ? 'on_target' : error > 0 ? 'lean' : 'rich'
  const row: CircuitVerdict = {
    circuit,
    name,
    detail,
    verdict,
    words:
      verdict === 'not_enough_data'
        ? 'not enough data'
        : verdict === 'on_target'
          ? 'on target'
          : `${verdict} ${Math.abs(error).toFixed(2)}`,
    error,
    half95,
    target: target.lambda,
    bandRich: target.rich,
    bandLean: target.lean,
    seconds,
  }
  if (verdict === 'not_enough_data') {
    row.missing = `${Math.max(5, Math.ceil(wantedS - seconds))} s more of ${drivingWords[wanted] ?? detail}`
  }
  return row
}
