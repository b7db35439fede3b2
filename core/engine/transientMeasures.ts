import type { Transient } from '../contract/result.ts'
import { stateCode, stateNames } from './operatingState.ts'
import { NOT_FINAL, type PointHistory } from './pointHistory.ts'
import { findStumble } from './stumble.ts'
import type { TargetFinder } from './targetLambda.ts'
import type { FastMove } from './tipDetector.ts'
import { type PatternFrame, patternOf, type TransientLimits } from './transientPattern.ts'
import { gatherStretch, LEAD_S, LEAST_LAMBDA, type Stretch } from './transientStretch.ts'

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

/** λ before the opening is its mean over the first part of this, s; leaner than the limit it is no mixture that burns. Chosen here. */
const BEFORE_FROM_S = -0.2
const BEFORE_MEAN_TO_S = -0.03
const BEFORE_TO_S = 0.05
const MOST_MIXTURE = 1.35
/** An opening that arrives nowhere within this is held against where its mixture settles, s. */
const ARRIVES_S = 0.95
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
  const stretch = gatherStretch(history, firstPoint, lastPoint, move.startS, options.sensorLagS())
  const target = targetOf(options.targets, toState, fromState, history.coolantC[settledPoint])
  // Out of an overrun the engine passes through light load.
  const leftState = fromState === stateCode.overrun ? stateCode.cruise : fromState
  const targetFrom = targetOf(options.targets, leftState, toState, history.coolantC[before])
  const settle = settleAt(stretch)
  const endS =
    move.startS +
    settledAfter(stretch, settle, options.settleLambda, move.endS - move.startS, move.kind === 'tip_in')
  const was = lambdaBefore(stretch, fromState)
  const peaks = findPeaks(stretch, target, Number.isNaN(was))
  // Cut short by the next move it arrives nowhere: what it was on its way to is not held against it either.
  const way = windowEndS - move.startS > ARRIVES_S || Number.isNaN(settle) ? target : settle
  const frame: PatternFrame = {
    firstHighest: Math.max(targetFrom, target, way),
    firstLowest: Math.min(targetFrom, target, way),
    highest: Math.max(target, way),
    lowest: Math.min(target, way),
    was,
    wideS: options.hasSecondaries
      ? wideAfter(history, firstPoint, lastPoint, move.startS, options)
      : Number.NaN,
  }
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
    pattern: move.kind === 'tip_in' ? patternOf(stretch, frame, options.limits) : null,
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

/** λ just before the opening; NaN where that was the air of an overrun, however short. */
function lambdaBefore({ timeS, lambda, count }: Stretch, fromState: number): number {
  if (fromState === stateCode.overrun) return Number.NaN
  let sum = 0
  let n = 0
  for (let i = 0; i < count && timeS[i] < BEFORE_TO_S; i++) {
    if (timeS[i] < BEFORE_FROM_S || Number.isNaN(lambda[i])) continue
    if (lambda[i] > MOST_MIXTURE) return Number.NaN
    if (timeS[i] >= BEFORE_MEAN_TO_S) continue
    sum += lambda[i]
    n++
  }
  return n > 0 ? sum / n : 1
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
    // After a closing the film dries and overrun begins: λ crosses where it will settle before it does. Off the rich end nothing settles.
    let lastOffS = 0
    for (let i = 0; i < count; i++) {
      // The very end may already belong to what follows.
      if (timeS[i] > windowS - STAYS_S) break
      const isOff = Math.abs(lambda[i] - settle) > within || lambda[i] <= LEAST_LAMBDA
      if (timeS[i] > 0 && isOff) lastOffS = timeS[i]
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

/** Peaks after the opening; after an overrun, from where λ has stopped falling on. */
function findPeaks({ timeS, lambda, count }: Stretch, target: number, isAir: boolean): Peaks {
  const peaks: Peaks = { lean: Number.NaN, leanAfterS: Number.NaN, rich: Number.NaN, richAfterS: Number.NaN }
  let isFalling = isAir
  for (let i = 0; i < count; i++) {
    if (timeS[i] < 0) continue
    const off = lambda[i] - target
    if (Number.isNaN(off)) continue
    if (isFalling && i + 1 < count && lambda[i + 1] <= lambda[i]) continue
    isFalling = false
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
