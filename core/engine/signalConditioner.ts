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

/** A second, coarser row of points out of the same windows. */
export interface CoarsePoints {
  readonly stepS: number
  readonly onPoint: () => void
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
/** Samples this far apart show a quick blip of the foot as a single one: a spike then stands on level ground, its sides apart by less than this share of it. Chosen here. */
const SPARSE_S = 0.03
const LEVEL_SHARE = 0.3
/** With no more samples than these in the window its middle one counts twice, and none is left out; so far apart, s, it alone tells the throttle. Chosen here. */
const FEW_SAMPLES = 3
const LONE_S = 0.06
/** Weight of one sample in the running noise estimate. */
const NOISE_WEIGHT = 0.002

export function createSignalConditioner(
  onPoint: () => void,
  options: SignalConditionerOptions = defaultSignalConditionerOptions,
  coarse?: CoarsePoints,
): SignalConditioner {
  return new Conditioner(onPoint, options, coarse)
}

class Conditioner implements SignalConditioner {
  timeS = Number.NaN
  rpm = Number.NaN
  throttlePct = Number.NaN
  mapKpa = Number.NaN
  throttleVariancePct2 = Number.NaN
  readonly #onPoint: () => void
  readonly #options: SignalConditionerOptions
  readonly #coarse: CoarsePoints | undefined
  readonly #times = new Float64Array(CAPACITY)
  readonly #speeds = new Float64Array(CAPACITY)
  readonly #throttles = new Float64Array(CAPACITY)
  readonly #pressures = new Float64Array(CAPACITY)
  // Absolute sample numbers; the ring index is number & MASK.
  #written = 0
  #first = 0
  #center = 0
  #nextS = Number.NEGATIVE_INFINITY
  #nextCoarseS: number

  constructor(onPoint: () => void, options: SignalConditionerOptions, coarse: CoarsePoints | undefined) {
    this.#onPoint = onPoint
    this.#options = options
    this.#coarse = coarse
    this.#nextCoarseS = coarse ? Number.NEGATIVE_INFINITY : Number.POSITIVE_INFINITY
  }

  push(timeS: number, rpm: number, throttlePct: number, mapKpa: number): void {
    if (this.#written - this.#center >= CAPACITY - 1) this.#pass()
    const times = this.#times
    const at = this.#written & MASK
    times[at] = timeS
    this.#speeds[at] = rpm >= 0 && rpm < 20_000 ? rpm : Number.NaN
    this.#throttles[at] = throttlePct > -30 && throttlePct < 140 ? throttlePct : Number.NaN
    this.#pressures[at] = mapKpa > 3 && mapKpa < 400 ? mapKpa : Number.NaN
    const written = this.#written + 1
    this.#written = written
    if (written - this.#first > CAPACITY) this.#first = written - CAPACITY
    if (written - this.#first >= 3) {
      this.#removeSpike(this.#throttles, this.#options.throttleSpikePct, 0)
      this.#removeSpike(this.#speeds, 60, this.#options.rpmSpikeShare)
    }
    const readyS = timeS - this.#options.latencyS
    while (this.#center < written && times[this.#center & MASK] <= readyS) this.#pass()
  }

  flush(): void {
    while (this.#center < this.#written) this.#pass()
    this.#first = this.#written
  }

  /** Goes over the sample at the center: a point if it is time for one. */
  #pass(): void {
    const t = this.#times[this.#center & MASK]
    const isPoint = !(t < this.#nextS)
    const isCoarse = t >= this.#nextCoarseS
    if (isPoint || isCoarse) this.#condition(t)
    this.#center++
    if (isCoarse) {
      this.#nextCoarseS = t + this.#coarse!.stepS
      this.#coarse!.onPoint()
    }
    if (isPoint) {
      this.#nextS = t + this.#options.stepS
      this.#onPoint()
    }
  }

  /** Looks at the newest but one, and at a pair of samples before the newest. */
  #removeSpike(ring: Float64Array, least: number, share: number): void {
    const end = this.#written
    const now = ring[(end - 1) & MASK]
    const middle = ring[(end - 2) & MASK]
    const before = ring[(end - 3) & MASK]
    const limit = share > 0 ? Math.max(least, share * before) : least
    // Most samples: the middle does not stick out beyond the newest, so it is no spike, single or paired.
    if (!(middle - now > limit || now - middle > limit)) return
    if (sticksOut(middle, before, now, limit)) {
      if (share === 0 && !this.#isOnLevel(middle, before, now)) return
      ring[(end - 2) & MASK] = (before + now) / 2
      return
    }
    const times = this.#times
    if (end - this.#first < 4 || times[(end - 1) & MASK] - times[(end - 4) & MASK] > 0.08) return
    const earlier = ring[(end - 4) & MASK]
    if (sticksOut(middle, earlier, now, limit) && sticksOut(before, earlier, now, limit)) {
      ring[(end - 3) & MASK] = earlier + (now - earlier) / 3
      ring[(end - 2) & MASK] = earlier + (2 * (now - earlier)) / 3
    }
  }

  /** False for samples so far apart that a sample which sticks out may be a foot's blip: where the line does not lie level on its two sides. */
  #isOnLevel(middle: number, before: number, now: number): boolean {
    const end = this.#written
    const sinceS = this.#times[(end - 1) & MASK] - this.#times[(end - 2) & MASK]
    if (!(sinceS >= SPARSE_S)) return true
    const earlier = end - this.#first >= 4 ? this.#throttles[(end - 4) & MASK] : before
    const most = LEVEL_SHARE * Math.min(Math.abs(middle - before), Math.abs(middle - now))
    return Math.abs(before - now) < most && !(Math.abs(before - earlier) >= most)
  }

  /** The fields from the windows around the center, whose time is `t`. */
  #condition(t: number): void {
    const { halfWindowS, leastPressureHalfS, mostPressureHalfS, latencyS } = this.#options
    const times = this.#times
    const center = this.#center
    this.timeS = t
    const sinceS = center > this.#first ? t - times[(center - 1) & MASK] : 0
    const half = Math.max(halfWindowS, Math.min(latencyS, 1.05 * sinceS))
    const from = windowStart(times, center, center, this.#first, half)
    const to = windowEnd(times, center, center + 1, this.#written, half)
    this.#meanSpeedAndThrottle(from, to, sinceS >= LONE_S)
    const cycleHalf = 60 / this.rpm
    const pressureHalf =
      cycleHalf > leastPressureHalfS ? Math.min(cycleHalf, mostPressureHalfS) : leastPressureHalfS
    const wide = Math.max(pressureHalf, half)
    this.mapKpa = plainMean(
      this.#pressures,
      center,
      windowStart(times, center, from, this.#first, wide),
      windowEnd(times, center, to, this.#written, wide),
    )
    const off = this.#throttles[center & MASK] - this.throttlePct
    if (!Number.isNaN(off)) {
      const old = this.throttleVariancePct2
      const square = Math.min(off * off, 9)
      this.throttleVariancePct2 = !Number.isNaN(old) ? old + NOISE_WEIGHT * (square - old) : square
    }
  }

  /** Means of the window without their least and greatest values, summed from the middle outward; both at once, since each sum waits for itself. */
  #meanSpeedAndThrottle(from: number, to: number, isLone: boolean): void {
    const speeds = this.#speeds
    const throttles = this.#throttles
    let speed = 0
    let speedCount = 0
    let leastSpeed = Number.POSITIVE_INFINITY
    let mostSpeed = Number.NEGATIVE_INFINITY
    let throttle = 0
    let throttleCount = 0
    let leastThrottle = Number.POSITIVE_INFINITY
    let mostThrottle = Number.NEGATIVE_INFINITY
    const middle = this.#center
    for (let k = from; k < to; k++) {
      // From the middle down to the oldest, then on from the middle.
      const n = k <= middle ? middle + from - k : k
      const rpm = speeds[n & MASK]
      if (!Number.isNaN(rpm)) {
        speed += rpm
        speedCount++
        leastSpeed = Math.min(leastSpeed, rpm)
        mostSpeed = Math.max(mostSpeed, rpm)
      }
      const pct = throttles[n & MASK]
      if (!Number.isNaN(pct)) {
        throttle += pct
        throttleCount++
        leastThrottle = Math.min(leastThrottle, pct)
        mostThrottle = Math.max(mostThrottle, pct)
      }
    }
    this.rpm = meanWithout(speed, leastSpeed, mostSpeed, speedCount)
    const own = throttles[middle & MASK]
    if (throttleCount > FEW_SAMPLES || Number.isNaN(own))
      this.throttlePct = meanWithout(throttle, leastThrottle, mostThrottle, throttleCount)
    else this.throttlePct = isLone ? own : (throttle + own) / (throttleCount + 1)
  }
}

/** Mean of so many values without the least and the greatest, where there are three or more; NaN without any. */
function meanWithout(sum: number, least: number, most: number, count: number): number {
  if (count === 0) return Number.NaN
  return count >= 3 ? (sum - least - most) / (count - 2) : sum / count
}

/** First sample within `halfS` before the middle, at or before `n`, which is within. */
function windowStart(times: Float64Array, middle: number, n: number, oldest: number, halfS: number): number {
  const t = times[middle & MASK]
  let from = n
  while (from > oldest && t - times[(from - 1) & MASK] <= halfS) from--
  return from
}

/** One past the last sample within `halfS` after the middle, at or after `n`, before which all are within. */
function windowEnd(times: Float64Array, middle: number, n: number, end: number, halfS: number): number {
  const t = times[middle & MASK]
  let to = n
  while (to < end && times[to & MASK] - t <= halfS) to++
  return to
}

/** Mean of the whole window, so that one revolution's pulses of pressure stay whole. */
function plainMean(ring: Float64Array, middle: number, from: number, to: number): number {
  let sum = 0
  let count = 0
  for (let n = middle; n >= from; n--) {
    const v = ring[n & MASK]
    if (Number.isNaN(v)) continue
    sum += v
    count++
  }
  for (let n = middle + 1; n < to; n++) {
    const v = ring[n & MASK]
    if (Number.isNaN(v)) continue
    sum += v
    count++
  }
  return count === 0 ? Number.NaN : sum / count
}

/** True when `middle` sticks out beyond both others by more than `limit`. */
function sticksOut(middle: number, a: number, b: number, limit: number): boolean {
  return (middle - a > limit && middle - b > limit) || (a - middle > limit && b - middle > limit)
}
