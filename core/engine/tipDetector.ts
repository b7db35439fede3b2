import { fastPartFrom, middleRate, ONSET_SHARE } from './moveSlopes.ts'
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
/** Unless they are so far apart, s, that the foot opens and closes between three. */
const LONE_STEP_S = 0.06
/** Share of the rate limit at which a move may be beginning, and below which it has ended. */
const BEGIN_SHARE = 0.5
const END_SHARE = 0.25
/** Points this far apart are no more noisy in their rate than pairs of nearer ones, s. */
const SPARSE_S = 0.045
/** A move that is slower than this share of the limit for so long, s, and then fast again is two: the foot rested or crept between. Chosen here. */
const PAUSE_SHARE = 0.8
const PAUSE_S = 0.1
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
  // Since when a move that was fast has been slow, and where it became fast anew.
  let slowFromPoint = -1
  let secondPoint = -1

  function push(): void {
    const byPressure = options.byPressure()
    const values = byPressure ? history.mapKpa : history.throttlePct
    const rateLimit = byPressure ? limits.tip_rate_kPa_s : limits.tip_rate_pct_s
    const sizeLimit = byPressure ? limits.tip_size_kPa : limits.tip_size_pct
    const now = history.end - 1
    const t = timeS[now & mask]
    if (back < history.first) back = history.first
    // At few samples a second two of them are mostly noise: three steps at the least.
    const leastSteps = t - timeS[(now - 1) & mask] >= LONE_STEP_S ? 1 : LEAST_STEPS
    while (back + 1 < now - leastSteps + 1 && t - timeS[(back + 1) & mask] >= RATE_WINDOW_S) back++
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
    const isSparse = t - timeS[(now - 1) & mask] >= SPARSE_S
    const both = (isSparse ? rate : (rate + lastRate) / 2) * direction
    lastRate = rate
    if (move && !byPressure) splitAtPause(values, now, both, rateLimit, sizeLimit)
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
      if (isReversed) {
        end(values, size)
        begin(values, rate, rateLimit)
        // Of a blip few samples may be all that there is.
        if (isSparse) peakRate = Math.abs(rate)
        extreme = value
        extremeS = t
      } else if (t - slowSinceS >= 0.05) end(values, size)
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
    slowFromPoint = -1
    secondPoint = -1
  }

  /** The foot opened fast, crept on, and opens fast again: from there on it is another move. */
  function splitAtPause(
    values: Float64Array,
    now: number,
    both: number,
    rateLimit: number,
    sizeLimit: number,
  ): void {
    if (secondPoint < 0) {
      if (both < PAUSE_SHARE * rateLimit) {
        if (slowFromPoint < 0) slowFromPoint = now
        return
      }
      if (slowFromPoint < 0 || both <= rateLimit) return
      if (timeS[now & mask] - timeS[slowFromPoint & mask] < PAUSE_S) {
        slowFromPoint = -1
        return
      }
      secondPoint = fastPartFrom(history, values, now, direction, rateLimit, slowFromPoint)
    }
    const rise = (extreme - values[secondPoint & mask]) * direction
    if (rise <= sizeLimit) {
      if (both < PAUSE_SHARE * rateLimit) {
        slowFromPoint = now
        secondPoint = -1
      }
      return
    }
    // Noise on a creep is no second step: the whole of it must be fast.
    if (rise <= rateLimit * (timeS[now & mask] - timeS[secondPoint & mask])) {
      slowFromPoint = -1
      secondPoint = -1
      return
    }
    const first = move!
    const firstEnd = slowFromPoint & mask
    close(first, values, (values[firstEnd] - startValue) * direction, timeS[firstEnd])
    startPoint = secondPoint
    startS = timeS[secondPoint & mask]
    startValue = values[secondPoint & mask]
    peakRate = both
    slowFromPoint = -1
    secondPoint = -1
    move = undefined
  }

  /** A creeping foot that suddenly opens fast: the move begins where the fast part does. */
  function startAtFastPart(values: Float64Array, now: number, rateLimit: number): void {
    const n = fastPartFrom(history, values, now, direction, rateLimit, startPoint)
    if (n <= startPoint) return
    startPoint = n
    startS = timeS[n & mask]
    startValue = values[n & mask]
  }

  function end(values: Float64Array, size: number): void {
    if (move) close(move, values, size, extremeS)
    move = undefined
    direction = 0
    startS = Number.POSITIVE_INFINITY
  }

  function close(over: FastMove, values: Float64Array, size: number, endS: number): void {
    over.size = size * direction
    over.endS = endS
    over.isOver = true
    if (!over.byPressure) over.ratePctS = middleRate(history, values, startPoint, size * direction, endS)
    onEnd(over)
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
