import type { Transient, TransientPattern } from '../contract/result.ts'
import { trust } from './lambdaStage.ts'
import { stateCode, stateNames } from './operatingState.ts'
import { NOT_FINAL, type PointHistory } from './pointHistory.ts'
import { findStumble } from './stumble.ts'
import type { TargetFinder } from './targetLambda.ts'
import type { FastMove } from './tipDetector.ts'

export interface TransientLimits {
  /** λ over target that counts as lean, and under target that counts as rich. */
  readonly lean: number
  readonly rich: number
  /** Rich for longer than this, s. */
  readonly richLastsS: number
  /** Lean before this is "at once", from it to `laterS` "later", s after the opening. */
  readonly atOnceS: number
  readonly laterS: number
  /** How long the mixture after an opening is watched, s. */
  readonly watchedS: number
  /** Secondary throttle counts as open from here, %. */
  readonly secondaryOpenPct: number
  /** Lean within this after the secondaries opened belongs to them, s. */
  readonly secondaryS: number
  /** Without a channel for them: secondaries are taken to open past this throttle and load, the engine this much faster than its warm idle. */
  readonly wideThrottlePct: number
  readonly wideLoad: number
  readonly wideSpeedFactor: number
}

/** Definitions of the trade, common practice without a source. */
export const defaultTransientLimits: Readonly<TransientLimits> = Object.freeze({
  lean: 0.1,
  rich: 0.12,
  richLastsS: 0.5,
  atOnceS: 0.3,
  laterS: 1.5,
  watchedS: 2.5,
  secondaryOpenPct: 5,
  secondaryS: 0.7,
  wideThrottlePct: 36,
  wideLoad: 0.9,
  wideSpeedFactor: 2,
})

export interface TransientOptions {
  readonly targets: TargetFinder
  readonly settleLambda: number
  readonly limits: TransientLimits
  /** First-order lag of the sensor that is undone before peaks are judged, s; 0 leaves λ as laid. */
  readonly sensorLagS: () => number
  /** The car has secondary barrels, by its parts or its profile. */
  readonly hasSecondaries: boolean
  readonly warmIdleRpm: () => number
}

/** λ beyond these tells nothing more of a mixture; off the sensor's scale it counts as the nearer. */
const MOST_LAMBDA = 1.6
const LEAST_LAMBDA = 0.65
/** A rich stretch is over after so long above its limit; an opening that is watched for less than that shows no pattern, s. */
const RICH_BREAK_S = 0.06
const LEAST_WATCHED_S = 0.45
/** How far the guessed moment of the secondaries may be off, s. */
const WIDE_SLACK_S = 0.1
/** Half width of the smoothing of λ, s. */
const SMOOTH_S = 0.04
/** λ is back when it stays back for this long; a tip-in or tip-out lasts at least so long, s. */
const STAYS_S = 0.2
const LEAST_TIP_S = 0.3
/** Last part of the window by which it is told where λ settles, s; a mixture on its way has so long to go, s, and so far at the most, λ. Chosen here. */
const SETTLE_WINDOW_S = 0.8
/** Middle of the time constants of wall films (reference pack, film-ranges). */
const SETTLE_TAU_S = 0.45
const MOST_REMAINING = 0.1
/** What wander and scatter alone make of it, λ. */
const SLOPE_NOISE = 0.01
/** Time before the opening that is looked at, s. */
const LEAD_S = 0.5

interface Stretch {
  readonly timeS: Float64Array
  readonly lambda: Float64Array
  readonly secondaryPct: Float64Array
  /** Without a channel that tells it: when the secondaries may have opened, s after the opening; NaN when they did not or there are none. */
  readonly wideS: number
  readonly count: number
  /** By how much `timeS` is later than the engine's own columns. */
  readonly lagS: number
}

/**
 * Measures one fast move from the points since its start: peaks over and under the target, when, recovery, stumble and pattern, and where the
 * tip-in or tip-out state ends. Times are seconds after the opening, λ laid at its cause.
 */
export function measureTransient(
  history: PointHistory,
  move: FastMove,
  windowEndS: number,
  options: TransientOptions,
): { transient: Transient; endS: number } {
  const { mask } = history
  const firstPoint = pointAt(history, move.startS)
  const lastPoint = Math.max(firstPoint, pointAt(history, windowEndS))
  const before = Math.max(history.first, firstPoint - 1) & mask
  const settledPoint = pointAt(history, Math.min(windowEndS - 0.02, move.endS + 1)) & mask
  const fromState = known(history.base[before])
  const toState = known(history.base[settledPoint])
  const stretch = gather(history, firstPoint, lastPoint, move.startS, options)
  const target = targetOf(options.targets, toState, fromState, history.coolantC[settledPoint])
  const targetFrom = targetOf(options.targets, fromState, toState, history.coolantC[before])
  const settle = settleAt(stretch)
  const endS =
    move.startS +
    settledAfter(stretch, settle, options.settleLambda, move.endS - move.startS, move.kind === 'tip_in')
  const peaks = findPeaks(stretch, target)
  const transient: Transient = {
    kind: move.kind,
    start_s: move.startS,
    rate_pct_s: Number.isNaN(move.ratePctS) ? null : move.ratePctS,
    from_state: stateNames[fromState],
    to_state: stateNames[toState],
    rpm: numberOrNull(history.rpm[before]),
    lean_peak: numberOrNull(peaks.lean),
    lean_peak_after_s: numberOrNull(peaks.leanAfterS),
    rich_peak: numberOrNull(peaks.rich),
    rich_peak_after_s: numberOrNull(peaks.richAfterS),
    recovered_s: numberOrNull(recoveredAfter(stretch, target, options, toState)),
    stumble:
      move.kind === 'tip_in' ? findStumble(history, move, Math.min(windowEndS, move.startS + 2)) : null,
    pattern: move.kind === 'tip_in' ? patternOf(stretch, targetFrom, target, options.limits) : null,
    end_s: endS,
    size: move.size,
    size_unit: move.byPressure ? 'kPa' : '%',
    load: numberOrNull(history.load[before]),
    load_to: numberOrNull(history.load[settledPoint]),
    coolant_C: numberOrNull(history.coolantC[before]),
    target: numberOrNull(target),
    settles_at: numberOrNull(settle),
    trace: sparseTrace(stretch),
  }
  return { transient, endS }
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)
const known = (code: number) => (code === NOT_FINAL ? stateCode.running : code)

/** Number of the first kept point at or after a time, the newest if all are earlier. */
function pointAt(history: PointHistory, timeS: number): number {
  let low = history.first
  let high = history.end - 1
  while (low < high) {
    const middle = (low + high) >> 1
    if (history.timeS[middle & history.mask] < timeS) low = middle + 1
    else high = middle
  }
  return low
}

function targetOf(targets: TargetFinder, toState: number, fromState: number, coolantC: number): number {
  const target = targets.lambda(toState, coolantC)
  return !Number.isNaN(target) ? target : targets.lambda(fromState, coolantC)
}

/** λ of the window, smoothed, with the sensor's lag undone; times count from the opening. */
function gather(
  history: PointHistory,
  firstPoint: number,
  lastPoint: number,
  startS: number,
  options: TransientOptions,
): Stretch {
  const { mask, timeS } = history
  const lagS = options.sensorLagS()
  const wideS = options.hasSecondaries
    ? wideAfter(history, firstPoint, lastPoint, startS, options)
    : Number.NaN
  let from = firstPoint
  while (from - 1 >= history.first && startS - timeS[(from - 1) & mask] <= LEAD_S) from--
  const count = lastPoint - from + 1
  const raw = new Float64Array(count)
  const t = new Float64Array(count)
  const secondary = new Float64Array(count)
  let last = 1
  for (let i = 0; i < count; i++) {
    const at = (from + i) & mask
    t[i] = timeS[at] - startS
    const one = history.lambda[0][at]
    raw[i] = Math.min(MOST_LAMBDA, !Number.isNaN(one) ? one : history.lambda[1][at])
    if (!Number.isNaN(raw[i])) last = raw[i]
    else if (history.reason[0][at] === trust.outOfRange) raw[i] = last > 1 ? MOST_LAMBDA : LEAST_LAMBDA
    secondary[i] = history.secondaryPct[at]
  }
  const smooth = smoothed(t, raw)
  if (lagS > 0) {
    const sharp = new Float64Array(count)
    for (let i = 0; i < count; i++) {
      const left = Math.max(0, i - 1)
      const right = Math.min(count - 1, i + 1)
      const slope = right > left ? (smooth[right] - smooth[left]) / (t[right] - t[left]) : 0
      sharp[i] = smooth[i] + lagS * (!Number.isNaN(slope) ? slope : 0)
    }
    const lambda = smoothed(t, sharp)
    // λ was laid with the lag's mean in its delay; with the lag undone that part of the delay is gone too.
    const endS = t[count - 1]
    for (let i = 0; i < count; i++) t[i] += lagS
    let kept = count
    while (kept > 1 && t[kept - 1] > endS) kept--
    return { timeS: t, lambda, secondaryPct: secondary, wideS, count: kept, lagS }
  }
  return { timeS: t, lambda: smooth, secondaryPct: secondary, wideS, count, lagS: 0 }
}

/** Seconds from the opening to the throttle, load and speed at which secondaries open; NaN when they were there before, or never come. */
function wideAfter(
  history: PointHistory,
  firstPoint: number,
  lastPoint: number,
  startS: number,
  { limits, warmIdleRpm }: TransientOptions,
): number {
  const { mask, timeS, throttlePct, load, rpm } = history
  const leastRpm = limits.wideSpeedFactor * warmIdleRpm()
  for (let n = firstPoint; n <= lastPoint; n++) {
    const at = n & mask
    if (throttlePct[at] < limits.wideThrottlePct || load[at] < limits.wideLoad || rpm[at] < leastRpm) continue
    // Neither throttle nor load known: nothing tells that they opened.
    if (Number.isNaN(throttlePct[at]) && Number.isNaN(load[at])) return Number.NaN
    return n === firstPoint ? Number.NaN : timeS[at] - startS
  }
  return Number.NaN
}

function smoothed(t: Float64Array, values: Float64Array): Float64Array {
  const out = new Float64Array(values.length)
  let low = 0
  let high = 0
  let sum = 0
  let count = 0
  for (let i = 0; i < values.length; i++) {
    while (high < values.length && t[high] <= t[i] + SMOOTH_S) {
      if (!Number.isNaN(values[high])) {
        sum += values[high]
        count++
      }
      high++
    }
    while (t[low] < t[i] - SMOOTH_S) {
      if (!Number.isNaN(values[low])) {
        sum -= values[low]
        count--
      }
      low++
    }
    out[i] = count > 0 ? sum / count : Number.NaN
  }
  return out
}

/**
 * Where λ settles: its mean over the last part of the window, gone on along its slope for the time in which wall film and pump shot still die away.
 * A window that the next move cuts short would else take a mixture that is still on its way for settled.
 */
function settleAt({ timeS, lambda, count }: Stretch): number {
  const endS = timeS[count - 1]
  const fromS = Math.max(0, endS - Math.min(SETTLE_WINDOW_S, 0.4 * endS))
  let n = 0
  let sumT = 0
  let sum = 0
  let sumTT = 0
  let sumTL = 0
  for (let i = 0; i < count; i++) {
    if (!(timeS[i] >= fromS) || Number.isNaN(lambda[i])) continue
    const t = timeS[i] - fromS
    n++
    sumT += t
    sum += lambda[i]
    sumTT += t * t
    sumTL += t * lambda[i]
  }
  if (n === 0) return Number.NaN
  const spread = sumTT - (sumT * sumT) / n
  const slope = spread > 0 ? (sumTL - (sumT * sum) / n) / spread : 0
  const remaining = slope * (SETTLE_TAU_S + (endS - fromS) / 2)
  const sure = Math.max(0, Math.min(MOST_REMAINING, Math.abs(remaining)) - SLOPE_NOISE)
  return sum / n + Math.sign(remaining) * sure
}

/** Seconds after the start at which λ, the move being over, is back near where it settles and stays there a moment. */
function settledAfter(
  stretch: Stretch,
  settle: number,
  within: number,
  moveS: number,
  opens: boolean,
): number {
  const { timeS, lambda, count } = stretch
  const windowS = timeS[count - 1]
  if (Number.isNaN(settle)) return Math.min(windowS, Math.max(LEAST_TIP_S, moveS))
  if (!opens) {
    // After a closing the film dries and overrun begins: λ crosses where it will settle before it does.
    let lastOffS = 0
    for (let i = 0; i < count; i++) {
      // The very end may already belong to what follows.
      if (timeS[i] > windowS - STAYS_S) break
      if (timeS[i] > 0 && Math.abs(lambda[i] - settle) > within) lastOffS = timeS[i]
    }
    return Math.min(windowS, Math.max(lastOffS, LEAST_TIP_S))
  }
  let sinceS = Number.NaN
  for (let i = 0; i < count; i++) {
    const t = timeS[i]
    if (t < moveS) continue
    if (!(Math.abs(lambda[i] - settle) <= within)) sinceS = Number.NaN
    else if (Number.isNaN(sinceS)) sinceS = t
    if (t - sinceS >= STAYS_S) return Math.min(windowS, Math.max(sinceS, LEAST_TIP_S))
  }
  return windowS
}

interface Peaks {
  lean: number
  leanAfterS: number
  rich: number
  richAfterS: number
}

function findPeaks({ timeS, lambda, count }: Stretch, target: number): Peaks {
  const peaks: Peaks = { lean: Number.NaN, leanAfterS: Number.NaN, rich: Number.NaN, richAfterS: Number.NaN }
  for (let i = 0; i < count; i++) {
    if (timeS[i] < 0) continue
    const off = lambda[i] - target
    if (Number.isNaN(off)) continue
    if (!(off <= peaks.lean)) {
      peaks.lean = off
      peaks.leanAfterS = timeS[i]
    }
    if (!(off >= peaks.rich)) {
      peaks.rich = off
      peaks.richAfterS = timeS[i]
    }
  }
  return peaks
}

/** Seconds after which λ stays inside the band of the state that it led to; NaN when it does not come back in the window. */
function recoveredAfter(
  { timeS, lambda, count }: Stretch,
  target: number,
  options: TransientOptions,
  state: number,
): number {
  const now = { lambda: Number.NaN, rich: Number.NaN, lean: Number.NaN }
  options.targets.find(now, state, Number.NaN)
  const rich = now.rich > 0 ? now.rich : 0.05
  const lean = now.lean > 0 ? now.lean : 0.05
  let last = 0
  let isOut = false
  for (let i = 0; i < count; i++) {
    if (timeS[i] < 0 || Number.isNaN(lambda[i])) continue
    isOut = lambda[i] - target > lean || target - lambda[i] > rich
    if (isOut) last = timeS[i]
  }
  return isOut || Number.isNaN(target) ? Number.NaN : last
}

/**
 * The row of the table that fits. The wanted λ goes from the target of the state left to that of the state arrived at: within the first moments
 * neither is held against the mixture.
 */
function patternOf(
  stretch: Stretch,
  from: number,
  to: number,
  limits: TransientLimits,
): TransientPattern | null {
  const { timeS, lambda, secondaryPct, wideS, count, lagS } = stretch
  const highest = Math.max(from, to)
  const lowest = Math.min(from, to)
  let leanFromS = Number.NaN
  let richSinceS = Number.NaN
  let richFromS = Number.NaN
  let secondaryS = Number.NaN
  let readings = 0
  let leastOffS = Number.NaN
  for (let i = 0; i < count; i++) {
    const t = timeS[i]
    if (t < 0 || t > limits.watchedS) continue
    if (secondaryPct[i] > limits.secondaryOpenPct && Number.isNaN(secondaryS)) secondaryS = t - lagS
    if (Number.isNaN(lambda[i])) continue
    readings++
    const isFirst = t <= limits.atOnceS
    if (lambda[i] - (isFirst ? highest : to) > limits.lean) {
      if (t <= limits.laterS && Number.isNaN(leanFromS)) leanFromS = t
    }
    if (lambda[i] - (isFirst ? lowest : to) >= -limits.rich) {
      // A single reading of a restless λ ends no rich stretch.
      if (Number.isNaN(leastOffS)) leastOffS = t
      if (t - leastOffS >= RICH_BREAK_S) richSinceS = Number.NaN
    } else {
      leastOffS = Number.NaN
      if (Number.isNaN(richSinceS)) richSinceS = t
      else if (t - richSinceS > limits.richLastsS && Number.isNaN(richFromS)) richFromS = richSinceS
    }
  }
  if (readings < 3 || Number.isNaN(to) || timeS[count - 1] < LEAST_WATCHED_S) return null
  if (Number.isNaN(leanFromS)) return Number.isNaN(richFromS) ? 'clean' : 'rich'
  if (richFromS > leanFromS) return 'lean_then_rich'
  const sinceSecondary = leanFromS - secondaryS
  if (secondaryS > 0.1 && sinceSecondary > -0.05 && sinceSecondary < limits.secondaryS)
    return 'lean_at_secondary'
  if (leanFromS <= limits.atOnceS) return 'lean_at_once'
  return Number.isNaN(secondaryS) && leanFromS >= wideS - WIDE_SLACK_S ? 'lean_at_secondary' : 'lean_later'
}

/** About fifty points of λ for the page that lays all openings over each other, close where it moves fast: [seconds, λ]. */
function sparseTrace({ timeS, lambda, count }: Stretch): [number, number | null][] {
  const trace: [number, number | null][] = []
  let nextS = -LEAD_S
  for (let i = 0; i < count; i++) {
    if (timeS[i] < nextS) continue
    trace.push([round(timeS[i]), Number.isNaN(lambda[i]) ? null : round(lambda[i])])
    nextS = timeS[i] + (timeS[i] < TRACE_CLOSE_S ? TRACE_CLOSE_STEP_S : TRACE_STEP_S)
  }
  return trace
}

/** Until here a trace has a point each twentieth of a second, after it each tenth: a straight line over a tenth would begin to fall before λ does. */
const TRACE_CLOSE_S = 1
const TRACE_CLOSE_STEP_S = 0.045
const TRACE_STEP_S = 0.1

const round = (value: number) => Math.round(value * 1000) / 1000
