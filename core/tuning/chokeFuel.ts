import { type CarProfile, defaultTargets } from '../contract/car.ts'
import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { stateLimits } from '../engine/stateLimits.ts'

/**
 * A choke that comes off late goes on feeding a warm engine: where the run does not tell for how long, nothing of the other circuits is known for so
 * many s after its first warm moment. Common practice, no source.
 */
const LATE_CHOKE_S = 600
/** The end of the warm driving that shows the mixture without the choke: its share, and the least, s, of time and of steady driving. Chosen here. */
const SETTLED_SHARE = 0.4
const LEAST_SETTLED_S = 120
const LEAST_STEADY_S = 20
/** Blocks of driving, s, that are held against that end, and how much richer, log λ, one is that the choke still feeds. Chosen here. */
const BLOCK_S = 60
const LEAST_BLOCK_S = 5
const STILL_RICH = 0.025

/**
 * The run's steady pieces without full load on a cold engine. By its definition that is the power state all the same; but the choke, or the warm-up
 * enrichment of an injection, still feeds it, and no part may be chosen or compared by its fuel.
 */
export function withoutColdPower(pieces: readonly SteadyPiece[], car: CarProfile | undefined): SteadyPiece[] {
  const { warm_C } = stateLimits(car?.state_limits)
  return pieces.filter(({ state, coolantC }) => state !== 'power' || !(coolantC < warm_C))
}

/**
 * The pieces from when a late choke no longer feeds. It only makes richer: full load that is lean all the same is kept, since without it it is
 * leaner still.
 */
export function withoutChokeFuel(
  pieces: readonly SteadyPiece[],
  fedUntilS: number,
  car: CarProfile | undefined,
): SteadyPiece[] {
  const sure = pieces.filter(({ state, timeS }) => state === 'warm_up' || timeS >= fedUntilS)
  if (sure.some(({ state }) => state === 'power')) return sure
  const { lambda, lean } = { ...defaultTargets, ...car?.targets }.power
  const power = pieces.filter(({ state }) => state === 'power')
  return meanLambda(power) > lambda + lean ? [...sure, ...power].sort((a, b) => a.timeS - b.timeS) : sure
}

function meanLambda(pieces: readonly SteadyPiece[]): number {
  let sum = 0
  let seconds = 0
  for (const piece of pieces) {
    sum += piece.lambda * piece.seconds
    seconds += piece.seconds
  }
  return sum / seconds
}

/** Until when, capture seconds, a late choke feeds the warm engine: by then each state is as lean as at the end of the run. −∞ without a late choke. */
export function chokeFedUntilS(run: RunAnalysis, car: CarProfile | undefined): number {
  if (run.result.warm_up?.choke !== 'late') return Number.NEGATIVE_INFINITY
  const warm = withoutColdPower(run.pieces, car).filter(({ state }) => state !== 'warm_up')
  const warmFromS = warm.reduce((least, { timeS }) => Math.min(least, timeS), Number.POSITIVE_INFINITY)
  const unknownS = warmFromS + LATE_CHOKE_S
  const told = warm.filter(({ state, lambda }) => state !== 'power' && lambda > 0)
  const lastS = told.reduce((most, { timeS }) => Math.max(most, timeS), warmFromS)
  const settledS = SETTLED_SHARE * (lastS - warmFromS)
  if (!(settledS >= LEAST_SETTLED_S)) return unknownS
  const fromS = lastS - settledS
  const richIn = richnessOf(told, fromS)
  const middleS = lastS - settledS / 2
  const first = richIn(fromS, middleS)
  const second = richIn(middleS, lastS + 1)
  if (Math.min(first.seconds, second.seconds, richIn(warmFromS, fromS).seconds) < LEAST_STEADY_S)
    return unknownS
  if (first.rich - second.rich > STILL_RICH) return unknownS
  for (let endS = fromS; endS > warmFromS; endS -= BLOCK_S) {
    const block = richIn(endS - BLOCK_S, endS)
    if (block.seconds >= LEAST_BLOCK_S && block.rich > STILL_RICH) return Math.min(endS, unknownS)
  }
  return warmFromS
}

/** How much richer than from `fromS` on the stretch between two moments is, each state held against itself, log λ; and by how many seconds. */
function richnessOf(told: readonly SteadyPiece[], fromS: number) {
  const keyOf = (piece: SteadyPiece) => `${piece.state} ${piece.bank}`
  const levels = new Map<string, { sum: number; seconds: number }>()
  for (const piece of told) {
    if (piece.timeS < fromS) continue
    const level = levels.get(keyOf(piece)) ?? { sum: 0, seconds: 0 }
    level.sum += piece.seconds * Math.log(piece.lambda)
    level.seconds += piece.seconds
    levels.set(keyOf(piece), level)
  }
  return (startS: number, endS: number) => {
    let sum = 0
    let seconds = 0
    for (const piece of told) {
      const level = levels.get(keyOf(piece))
      if (!level || piece.timeS < startS || piece.timeS >= endS) continue
      sum += piece.seconds * (level.sum / level.seconds - Math.log(piece.lambda))
      seconds += piece.seconds
    }
    return { rich: sum / seconds, seconds }
  }
}
