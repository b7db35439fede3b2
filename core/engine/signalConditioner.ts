/**
 * Engine speed, throttle and manifold pressure with spikes, noise and intake pulsation taken out, by centred windows, so that nothing is
 * moved in time: points come `latencyS` after their sample.
 */
export interface SignalConditioner {
  /** Fields of the newest point; NaN where the channel is missing there. */
  timeS: number
  rpm: number
  throttlePct: number
  mapKpa: number
  /** Variance of the throttle about the smooth line, %², running: its noise. */
  throttleVariancePct2: number
  /** Takes a raw sample (NaN for no reading); `onPoint` runs for each point that has become ready. */
  push(timeS: number, rpm: number, throttlePct: number, mapKpa: number): void
  /** Ends the stretch (a gap, the end of the run): the points still held come out with shorter windows. */
  flush(): void
}

export interface SignalConditionerOptions {
  /** Half width of the window for speed and throttle, s. More: smoother, and quick moves look slower. */
  readonly halfWindowS: number
  /** Least and most half width for pressure, s; between them half an engine cycle (one revolution). */
  readonly leastPressureHalfS: number
  readonly mostPressureHalfS: number
  /** A sample that differs from both neighbours by more than this is a spike. */
  readonly throttleSpikePct: number
  readonly rpmSpikeShare: number
  readonly latencyS: number
  /** Least time between points, s: quicker samples sharpen the windows, not the number of points. */
  readonly stepS: number
}

/** Chosen here: one revolution at idle still fits, and an opening of 0.1 s keeps its slope. */
export const defaultSignalConditionerOptions: Readonly<SignalConditionerOptions> = Object.freeze({
  halfWindowS: 0.05,
  leastPressureHalfS: 0.04,
  mostPressureHalfS: 0.12,
  throttleSpikePct: 6,
  rpmSpikeShare: 0.1,
  latencyS: 0.125,
  stepS: 0.0185,
})

/** Power of two; holds a quarter of a second at 4 kHz. */
const CAPACITY = 1024
const MASK = CAPACITY - 1
/** Weight of one sample in the running noise estimate. */
const NOISE_WEIGHT = 0.002

export function createSignalConditioner(
  onPoint: () => void,
  options: SignalConditionerOptions = defaultSignalConditionerOptions,
): SignalConditioner {
  const { halfWindowS, leastPressureHalfS, mostPressureHalfS, latencyS, stepS } = options
  const { throttleSpikePct, rpmSpikeShare } = options
  const times = new Float64Array(CAPACITY)
  const speeds = new Float64Array(CAPACITY)
  const throttles = new Float64Array(CAPACITY)
  const pressures = new Float64Array(CAPACITY)
  // Absolute sample numbers; the ring index is number & MASK.
  let written = 0
  let first = 0
  let center = 0
  const next = { timeS: Number.NEGATIVE_INFINITY }

  const conditioner: SignalConditioner = {
    timeS: Number.NaN,
    rpm: Number.NaN,
    throttlePct: Number.NaN,
    mapKpa: Number.NaN,
    throttleVariancePct2: Number.NaN,
    push(timeS, rpm, throttlePct, mapKpa) {
      if (written - center >= CAPACITY - 1) emit()
      const at = written & MASK
      times[at] = timeS
      speeds[at] = rpm >= 0 && rpm < 20_000 ? rpm : Number.NaN
      throttles[at] = throttlePct > -30 && throttlePct < 140 ? throttlePct : Number.NaN
      pressures[at] = mapKpa > 3 && mapKpa < 400 ? mapKpa : Number.NaN
      written++
      if (written - first > CAPACITY) first = written - CAPACITY
      if (written - first >= 3) {
        removeSpike(throttles, throttleSpikePct, 0)
        removeSpike(speeds, 60, rpmSpikeShare)
      }
      const readyS = timeS - latencyS
      while (center < written && times[center & MASK] <= readyS) emit()
    },
    flush() {
      while (center < written) emit()
      first = written
    },
  }

  /** Looks at the newest but one, and at a pair of samples before the newest. */
  function removeSpike(ring: Float64Array, least: number, share: number): void {
    const end = written
    const now = ring[(end - 1) & MASK]
    const middle = ring[(end - 2) & MASK]
    const before = ring[(end - 3) & MASK]
    const limit = share > 0 ? Math.max(least, share * before) : least
    // Most samples: the middle does not stick out beyond the newest, so it is no spike, single or paired.
    if (!(middle - now > limit || now - middle > limit)) return
    if (sticksOut(middle, before, now, limit)) {
      ring[(end - 2) & MASK] = (before + now) / 2
      return
    }
    if (end - first < 4 || times[(end - 1) & MASK] - times[(end - 4) & MASK] > 0.08) return
    const earlier = ring[(end - 4) & MASK]
    if (sticksOut(middle, earlier, now, limit) && sticksOut(before, earlier, now, limit)) {
      ring[(end - 3) & MASK] = earlier + (now - earlier) / 3
      ring[(end - 2) & MASK] = earlier + (2 * (now - earlier)) / 3
    }
  }

  /** Mean of the window; trimmed, without its least and greatest value, untrimmed, so that one revolution's pulses for pressure stay whole. */
  function windowMean(ring: Float64Array, from: number, to: number, isTrimmed: boolean): number {
    const middle = center
    let sum = 0
    let count = 0
    let least = Number.POSITIVE_INFINITY
    let most = Number.NEGATIVE_INFINITY
    for (let n = middle; n >= from; n--) {
      const v = ring[n & MASK]
      if (Number.isNaN(v)) continue
      sum += v
      count++
      if (v < least) least = v
      if (v > most) most = v
    }
    for (let n = middle + 1; n < to; n++) {
      const v = ring[n & MASK]
      if (Number.isNaN(v)) continue
      sum += v
      count++
      if (v < least) least = v
      if (v > most) most = v
    }
    if (count === 0) return Number.NaN
    return isTrimmed && count >= 3 ? (sum - least - most) / (count - 2) : sum / count
  }

  /** First sample within `halfS` before the middle, at or before `n`, which is within. */
  function windowStart(n: number, halfS: number): number {
    const t = times[center & MASK]
    const oldest = first
    let from = n
    while (from > oldest && t - times[(from - 1) & MASK] <= halfS) from--
    return from
  }

  /** One past the last sample within `halfS` after the middle, at or after `n`, before which all are within. */
  function windowEnd(n: number, halfS: number): number {
    const t = times[center & MASK]
    const end = written
    let to = n
    while (to < end && times[to & MASK] - t <= halfS) to++
    return to
  }

  function emit(): void {
    const at = center & MASK
    if (times[at] < next.timeS) {
      center++
      return
    }
    next.timeS = times[at] + stepS
    conditioner.timeS = times[at]
    const sinceS = center > first ? times[at] - times[(center - 1) & MASK] : 0
    const half = Math.max(halfWindowS, Math.min(latencyS, 1.05 * sinceS))
    const from = windowStart(center, half)
    const to = windowEnd(center + 1, half)
    conditioner.rpm = windowMean(speeds, from, to, true)
    conditioner.throttlePct = windowMean(throttles, from, to, true)
    const cycleHalf = 60 / conditioner.rpm
    const pressureHalf =
      cycleHalf > leastPressureHalfS ? Math.min(cycleHalf, mostPressureHalfS) : leastPressureHalfS
    const wide = Math.max(pressureHalf, half)
    conditioner.mapKpa = windowMean(pressures, windowStart(from, wide), windowEnd(to, wide), false)
    const off = throttles[at] - conditioner.throttlePct
    if (!Number.isNaN(off)) {
      const old = conditioner.throttleVariancePct2
      const square = Math.min(off * off, 9)
      conditioner.throttleVariancePct2 = !Number.isNaN(old) ? old + NOISE_WEIGHT * (square - old) : square
    }
    center++
    onPoint()
  }

  return conditioner
}

/** True when `middle` sticks out beyond both others by more than `limit`. */
function sticksOut(middle: number, a: number, b: number, limit: number): boolean {
  return (middle - a > limit && middle - b > limit) || (a - middle > limit && b - middle > limit)
}
