import type { PointHistory } from './pointHistory.ts'

/** A move has begun where it was faster than this share of the rate limit. */
export const ONSET_SHARE = 0.25
/** The fast part of a move that began slowly: faster than this share, and the foot of the smoothed line before it, s. Chosen here. */
const FAST_SHARE = 0.8
const FOOT_S = 0.08
/** Steepness of a move is that of its middle: between a tenth and nine tenths of the way, over this at the least, s. */
const LEAST_MIDDLE_S = 0.02

/** Number of the point at which the fast part that reaches to point `now` began, `oldest` at the earliest. `direction` is 1 or −1. */
export function fastPartFrom(
  { mask, timeS }: PointHistory,
  values: Float64Array,
  now: number,
  direction: number,
  rateLimit: number,
  oldest: number,
): number {
  const slope = (n: number) =>
    ((values[n & mask] - values[(n - 1) & mask]) * direction) / (timeS[n & mask] - timeS[(n - 1) & mask])
  let n = now
  let slowest = now
  while (n > oldest) {
    // Noise makes single steps slow: two in a row end the fast part.
    const here = slope(n)
    if (here < FAST_SHARE * rateLimit) {
      if (slowest === n + 1) break
      slowest = n
    }
    n--
  }
  if (n <= oldest) return oldest
  const fromS = timeS[n & mask] - FOOT_S / 2
  while (n > oldest && timeS[n & mask] > fromS && slope(n) >= ONSET_SHARE * rateLimit) n--
  return n
}

/** Slope between a tenth and nine tenths of a move's travel `size` (negative when closing), per second, without sign. */
export function middleRate(
  history: PointHistory,
  values: Float64Array,
  startPoint: number,
  size: number,
  endS: number,
): number {
  const { mask, timeS } = history
  const first = Math.max(startPoint, history.first)
  const startValue = values[startPoint & mask]
  let lowS = timeS[first & mask]
  let highS = endS
  for (let n = first; n < history.end; n++) {
    const share = (values[n & mask] - startValue) / size
    if (share <= 0.1) lowS = timeS[n & mask]
    if (share >= 0.9) {
      highS = timeS[n & mask]
      break
    }
  }
  return (0.8 * Math.abs(size)) / Math.max(LEAST_MIDDLE_S, highS - lowS)
}
