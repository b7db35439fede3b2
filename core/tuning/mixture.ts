import type { Mixture, MixtureState, SteadyPiece } from '../contract/result.ts'
import { estimateMean } from './meanInterval.ts'

/** Spread of λ in one state and bank, from every steady moment, in bins: quartiles and the share inside the band. */
export interface LambdaSpread {
  add(lambda: number, dtS: number, target: number, rich: number, lean: number): void
  readonly seconds: () => number
  quantile(share: number): number
  insideShare(): number
  /** Mean target of the moments, NaN when the state has none. */
  target(): number
}

const FIRST_LAMBDA = 0.5
const BINS_PER_LAMBDA = 1000
const BINS = 1200

export function createLambdaSpread(): LambdaSpread {
  const bins = new Float64Array(BINS)
  let total = 0
  let inside = 0
  let judged = 0
  // Summed as distances from the first: a target that never changes comes out as it is written.
  let firstTarget = Number.NaN
  let targetSum = 0
  return {
    add(lambda, dtS, target, rich, lean) {
      const bin = ((lambda - FIRST_LAMBDA) * BINS_PER_LAMBDA) | 0
      bins[bin < 0 ? 0 : bin >= BINS ? BINS - 1 : bin] += dtS
      total += dtS
      if (Number.isNaN(target)) return
      if (judged === 0) firstTarget = target
      judged += dtS
      targetSum += (target - firstTarget) * dtS
      if (lambda >= target - rich && lambda <= target + lean) inside += dtS
    },
    seconds: () => total,
    quantile(share) {
      if (!(total > 0)) return Number.NaN
      const wanted = share * total
      let sum = 0
      for (let i = 0; i < BINS; i++) {
        if (sum + bins[i] >= wanted && bins[i] > 0) {
          return FIRST_LAMBDA + (i + (wanted - sum) / bins[i]) / BINS_PER_LAMBDA
        }
        sum += bins[i]
      }
      return FIRST_LAMBDA + BINS / BINS_PER_LAMBDA
    },
    insideShare: () => (judged > 0 ? inside / judged : Number.NaN),
    target: () => (judged > 0 ? firstTarget + targetSum / judged : Number.NaN),
  }
}

/** Least steady time for an interval, s. */
const LEAST_INTERVAL_S = 2

/** Figures of one state and bank. `pieces` are those of this state and bank alone, by time; `unreadS` steady seconds that may be unlike them. */
export function summariseMixture(
  bank: 1 | 2,
  _state: MixtureState,
  pieces: readonly SteadyPiece[],
  spread: LambdaSpread,
  systematicLambda: number,
  unreadS: number,
): Mixture {
  const seconds = spread.seconds()
  const target = spread.target()
  const mean = estimateMean(pieces, systematicLambda, unreadS)
  const median = mean.center
  return {
    bank,
    seconds,
    lambda_median: numberOrNull(median),
    lambda_iqr: numberOrNull(spread.quantile(0.75) - spread.quantile(0.25)),
    ci95:
      seconds >= LEAST_INTERVAL_S && Number.isFinite(mean.half)
        ? [mean.center - mean.half, mean.center + mean.half]
        : null,
    target: numberOrNull(target),
    error: numberOrNull(median - target),
    inside_share: numberOrNull(spread.insideShare()),
    visits: new Set(pieces.map((piece) => piece.visit)).size,
  }
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)
