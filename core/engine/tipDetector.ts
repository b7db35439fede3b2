import type { PointHistory } from './pointHistory.ts'
import type { StateLimits } from './stateLimits.ts'

/** A fast throttle move, opening or closing. */
export interface FastMove {
  readonly kind: 'tip_in' | 'tip_out'
  /** Point number at which the throttle began to move. */
  readonly startPoint: number
  readonly startS: number
  endS: number
  /** Total travel, %, or kPa when told by pressure; negative when closing. */
  size: number
  /** Travel ÷ time between a tenth and nine tenths of the way, %/s; NaN when told by pressure. */
  ratePctS: number
  readonly byPressure: boolean
  isOver: boolean
}

export interface TipDetector {
  /** Looks at the newest point. */
  push(): void
  /** Start of a move that may yet become a tip-in or tip-out, s; Infinity when the throttle is quiet. */
  readonly pendingStartS: () => number
  reset(): void
}

export interface TipDetectorOptions {
  readonly history: PointHistory
  readonly limits: StateLimits
  readonly byPressure: () => boolean
  /** Runs as soon as the move is fast and large enough; the object is completed until `isOver`. */
  readonly onMove: (move: FastMove) => void
  readonly onEnd: (move: FastMove) => void
}

/** Time over which the rate is taken, s; points are means over a tenth of a second already. Longer: quick small moves look slow. */
const RATE_WINDOW_S = 0.05
const LEAST_STEPS = 2
/** Share of the rate limit at which a move may be beginning, and below which it has ended. */
const BEGIN_SHARE = 0.5
const END_SHARE = 0.25
/** A move has begun where it was faster than this share of the rate limit. */
const ONSET_SHARE = 0.25
/** The fast part of a move that began slowly: faster than this share, and the foot of the smoothed line before it, s. */
const FAST_SHARE = 0.6
const FOOT_S = 0.08
/** The smoothed line begins to rise this much before the plate does, s. */
const ONSET_BIAS_S = 0.03

export function createTipDetector(options: TipDetectorOptions): TipDetector {
  const { history, limits, onMove, onEnd } = options
  const { mask, timeS } = history
  let direction = 0
  let startPoint = 0
  let startS = Number.POSITIVE_INFINITY
  let startValue = 0
  let extreme = 0
  let extremeS = 0
  let peakRate = 0
  let lastRate = 0
  let slowSinceS = Number.NaN
  let move: FastMove | undefined
  let back = 0

  function push(): void {
    const byPressure = options.byPressure()
    const values = byPressure ? history.mapKpa : history.throttlePct
    const rateLimit = byPressure ? limits.tip_rate_kPa_s : limits.tip_rate_pct_s
    const sizeLimit = byPressure ? limits.tip_size_kPa : limits.tip_size_pct
    const now = history.end - 1
    const t = timeS[now & mask]
    if (back < history.first) back = history.first
    // At few samples a second two of them are mostly noise: three steps at the least.
    while (back + 1 < now - LEAST_STEPS + 1 && t - timeS[(back + 1) & mask] >= RATE_WINDOW_S) back++
    const value = values[now & mask]
    const spanS = t - timeS[back & mask]
    if (!(spanS > 0.04 && spanS < 0.4)) return
    const rate = (value - values[back & mask]) / spanS
    if (Number.isNaN(rate)) return
    if (direction === 0) {
      if (Math.abs(rate) > BEGIN_SHARE * rateLimit) begin(values, rate, rateLimit)
      else return
    }
    if ((value - extreme) * direction > 0) {
      extreme = value
      extremeS = t
    }
    // Noise lifts single points over the limit: two in a row count, by their mean.
    const both = ((rate + lastRate) / 2) * direction
    lastRate = rate
    if (!byPressure && !move && both > rateLimit && !(peakRate > rateLimit)) {
      startAtFastPart(values, now, rateLimit)
    }
    peakRate = Math.max(peakRate, both)
    const size = (extreme - startValue) * direction
    if (!move && peakRate > rateLimit && size > sizeLimit) {
      move = {
        kind: direction > 0 ? 'tip_in' : 'tip_out',
        startPoint,
        startS: startS + ONSET_BIAS_S,
        endS: t,
        size: size * direction,
        ratePctS: Number.NaN,
        byPressure,
        isOver: false,
      }
      onMove(move)
    }
    if (rate * direction < END_SHARE * rateLimit) {
      if (!(t >= slowSinceS)) slowSinceS = t
      const isReversed = rate * direction < -BEGIN_SHARE * rateLimit
      if (isReversed || t - slowSinceS >= 0.05) end(values, size)
    } else slowSinceS = Number.NaN
  }

  function begin(values: Float64Array, rate: number, rateLimit: number): void {
    direction = rate > 0 ? 1 : -1
    let n = back
    const onset = ONSET_SHARE * rateLimit
    while (n - 1 >= history.first && history.afterGap[n & mask] === 0) {
      const stepS = timeS[n & mask] - timeS[(n - 1) & mask]
      if (((values[n & mask] - values[(n - 1) & mask]) * direction) / stepS < onset) break
      n--
    }
    // Where the window began before the move did, go forward to the point at which it starts.
    if (n === back) {
      while (n + 2 < history.end) {
        const stepS = timeS[(n + 1) & mask] - timeS[n & mask]
        if (((values[(n + 1) & mask] - values[n & mask]) * direction) / stepS >= onset) break
        n++
      }
    }
    startPoint = n
    startS = timeS[n & mask]
    startValue = values[n & mask]
    extreme = startValue
    extremeS = startS
    peakRate = 0
    lastRate = 0
    slowSinceS = Number.NaN
  }

  /** A creeping foot that suddenly opens fast: the move begins where the fast part does. */
  function startAtFastPart(values: Float64Array, now: number, rateLimit: number): void {
    const slope = (n: number) =>
      ((values[n & mask] - values[(n - 1) & mask]) * direction) / (timeS[n & mask] - timeS[(n - 1) & mask])
    let n = now
    let slowest = now
    while (n > startPoint) {
      // Noise makes single steps slow: two in a row end the fast part.
      const here = slope(n)
      if (here < FAST_SHARE * rateLimit) {
        if (slowest === n + 1) break
        slowest = n
      }
      n--
    }
    if (n <= startPoint) return
    const fromS = timeS[n & mask] - FOOT_S / 2
    while (n > startPoint && timeS[n & mask] > fromS && slope(n) >= ONSET_SHARE * rateLimit) n--
    startPoint = n
    startS = timeS[n & mask]
    startValue = values[n & mask]
  }

  function end(values: Float64Array, size: number): void {
    if (move) {
      move.size = size * direction
      move.endS = extremeS
      move.isOver = true
      if (!move.byPressure) move.ratePctS = middleRate(values, size)
      onEnd(move)
    }
    move = undefined
    direction = 0
    startS = Number.POSITIVE_INFINITY
  }

  /** Slope between a tenth and nine tenths of the travel. */
  function middleRate(values: Float64Array, size: number): number {
    let lowS = startS
    let highS = extremeS
    for (let n = Math.max(startPoint, history.first); n < history.end; n++) {
      const travelled = (values[n & mask] - startValue) * direction
      if (travelled <= 0.1 * size) lowS = timeS[n & mask]
      if (travelled >= 0.9 * size) {
        highS = timeS[n & mask]
        break
      }
    }
    return (0.8 * size) / Math.max(0.02, highS - lowS)
  }

  return {
    push,
    pendingStartS: () => startS,
    reset() {
      if (move) {
        move.isOver = true
        move.size = (extreme - startValue) * direction
        move.endS = extremeS
        onEnd(move)
      }
      move = undefined
      direction = 0
      startS = Number.POSITIVE_INFINITY
      back = history.end
    },
  }
}
