import { trust } from './lambdaStage.ts'
import type { PointHistory } from './pointHistory.ts'

/** λ around a fast move, on the engine's own points; times count from the opening, s. */
export interface Stretch {
  readonly timeS: Float64Array
  readonly lambda: Float64Array
  readonly secondaryPct: Float64Array
  readonly count: number
}

/** λ beyond these tells nothing more of a mixture; off the sensor's scale it counts as the nearer. */
const MOST_LAMBDA = 1.6
export const LEAST_LAMBDA = 0.65
/** 1/λ of a reading off the lean end: nearly air. */
const AIR_PHI = 0.2
/** Half width of the local line through the readings, s: what is shorter is scatter of cycles. */
const FIT_S = 0.07
/** Time before the opening that is looked at, s, and beyond it for the fit. */
export const LEAD_S = 0.5
const FIT_LEAD_S = 0.3

/**
 * λ from a little before a point to another one, with the sensor's first-order lag undone. The lag lies in the pump current and in the time of
 * arrival: the current is straight in 1/λ on either side of 1, and what a change of flow does to the delay is none of the sensor's.
 */
export function gatherStretch(
  history: PointHistory,
  firstPoint: number,
  lastPoint: number,
  startS: number,
  lagS: number,
): Stretch {
  const { mask, timeS, arrivalS, secondaryPct } = history
  let from = firstPoint
  while (from - 1 >= history.first && startS - timeS[(from - 1) & mask] <= LEAD_S + FIT_LEAD_S) from--
  const all = lastPoint - from + 1
  const at = new Float64Array(all)
  const phi = new Float64Array(all)
  let last = 1
  for (let i = 0; i < all; i++) {
    const place = (from + i) & mask
    at[i] = arrivalS[place]
    const one = history.lambda[0][place]
    const lambda = !Number.isNaN(one) ? one : history.lambda[1][place]
    phi[i] = 1 / lambda
    if (!Number.isNaN(lambda)) last = lambda
    else if (history.reason[0][place] === trust.outOfRange) phi[i] = last > 1 ? AIR_PHI : 1 / LEAST_LAMBDA
  }
  const sharp = undoLag(at, phi, lagS)
  let skip = 0
  while (skip < all - 1 && startS - timeS[(from + skip) & mask] > LEAD_S) skip++
  const count = all - skip
  const stretch = {
    timeS: new Float64Array(count),
    lambda: new Float64Array(count),
    secondaryPct: new Float64Array(count),
    count,
  }
  let left = 0
  for (let i = 0; i < count; i++) {
    const place = (from + skip + i) & mask
    stretch.timeS[i] = timeS[place] - startS
    stretch.secondaryPct[i] = secondaryPct[place]
    // The lag's mean is part of the delay: with the lag undone the gas is at the sensor that much earlier.
    const tipS = at[skip + i] - lagS
    while (left + 1 < all && at[left + 1] <= tipS) left++
    const value = between(at, sharp, left, tipS)
    stretch.lambda[i] = Math.min(MOST_LAMBDA, Math.max(LEAST_LAMBDA, 1 / value))
    if (value <= 0) stretch.lambda[i] = MOST_LAMBDA
  }
  return stretch
}

function between(at: Float64Array, values: Float64Array, left: number, t: number): number {
  const right = Math.min(at.length - 1, left + 1)
  const span = at[right] - at[left]
  if (!(span > 0) || t <= at[left]) return values[left]
  return values[left] + ((values[right] - values[left]) * Math.min(span, t - at[left])) / span
}

/**
 * Value and slope of a parabola through the readings within `FIT_S`, by which the lag is undone: a straight line would flatten a short spike. Too few
 * readings for that make a line or a mean.
 */
function undoLag(at: Float64Array, phi: Float64Array, lagS: number): Float64Array {
  const out = new Float64Array(phi.length)
  let low = 0
  let high = 0
  for (let i = 0; i < phi.length; i++) {
    const t = at[i]
    while (high < phi.length && at[high] <= t + FIT_S) high++
    while (low < i && at[low] < t - FIT_S) low++
    let n = 0
    let t1 = 0
    let t2 = 0
    let t3 = 0
    let t4 = 0
    let y0 = 0
    let y1 = 0
    let y2 = 0
    for (let k = low; k < high; k++) {
      const y = phi[k]
      if (Number.isNaN(y)) continue
      const x = (at[k] - t) / FIT_S
      const xx = x * x
      n++
      t1 += x
      t2 += xx
      t3 += xx * x
      t4 += xx * xx
      y0 += y
      y1 += x * y
      y2 += xx * y
    }
    if (n === 0) {
      out[i] = Number.NaN
      continue
    }
    // Moments about the mean; the middle of the window is where x is 0.
    const a = t2 - (t1 * t1) / n
    const b = t3 - (t1 * t2) / n
    const c = t4 - (t2 * t2) / n
    const u = y1 - (t1 * y0) / n
    const v = y2 - (t2 * y0) / n
    const whole = a * c - b * b
    const bend = whole > LEAST_BEND * n * n ? (a * v - b * u) / whole : 0
    const slope = a > LEAST_SPREAD * n ? (u - bend * b) / a : 0
    out[i] = (y0 - slope * t1 - bend * t2) / n + (lagS * slope) / FIT_S
  }
  return out
}

/** Spread of the readings' times, in half windows squared, from which a slope and a bend can be told; chosen here. */
const LEAST_SPREAD = 0.02
const LEAST_BEND = 0.002
