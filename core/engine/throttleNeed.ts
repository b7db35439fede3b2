import { throttleLoad, throttleQuickness } from './throttleLoad.ts'

/**
 * How much throttle this car needs for a load, against a middling one: 1.5 is a small carburettor on a large engine. Without a pressure sensor nothing
 * else tells the load, but the engine does: in one gear its speed rises the faster the more load there is, and once it breathes freely more throttle
 * makes no difference. Over each stretch in gear the rise of engine speed is held against the load that each need would give, with the gear's reach,
 * drag and hill left free; the need that explains the stretches best, with a prior, is the car's.
 */
export interface ThrottleNeedLearner {
  /** A conditioned point: s, rpm, throttle over rest in %. NaN is skipped. O(1). */
  add(timeS: number, rpm: number, throttlePct: number): void
  /** As a factor; what earlier runs taught, or 1, before anything was learned. */
  need(): number
  /** Stretches that it rests on. */
  readonly stretches: number
}

/** Needs that are tried, from e⁻¹ to e, by equal steps of their logarithm. */
const NEEDS = 26
const LOG_STEP = 0.08
/** Before a drive the need is a middling car's within about a third; chosen here. */
const PRIOR_LOG_SD = 0.3
/** What one drive leaves unknown of it: so sharply an earlier run is believed. Measured on random cars, about. */
const EARLIER_LOG_SD = 0.15
/** Speed and throttle are taken as means over this, s; a rise of speed is told over two steps either way. */
const STEP_S = 0.1
const HALF = 2
/** The load acts on the speed this much later, in steps: the manifold fills, and the driveline winds up. Chosen here. */
const LAG = 2
/** So many last steps are kept: more than any look at them reaches back. */
const KEPT = 16
/** Off its rest the throttle drives; slower than this, or quicker in its rise (rpm/s), the clutch slips or a low gear reaches. Chosen here. */
const LEAST_THROTTLE_PCT = 2
const LEAST_RPM = 900
const MOST_RISE_RPM_S = 1200
/** Steps left out where a stretch begins and ends: the clutch. */
const LEFT_OUT = 4
/** A stretch tells something when the throttle moved so far in it, %. */
const LEAST_TRAVEL_PCT = 10
/** What a hill or a gust adds lasts: so long a piece of a stretch counts as one observation, s. */
const OBSERVED_S = 1.5
/** Of each stretch a constant and a slope over speed are free: that many observations are spent. */
const FREE = 2
const LEAST_OBSERVATIONS = 3.5
/** No stretch is explained better than to this share. */
const UNEXPLAINED = 0.02
/** Speed is counted in these, rpm, so that all sums are of a size. */
const SPEED_UNIT_RPM = 500

export function createThrottleNeedLearner(earlier: number = Number.NaN): ThrottleNeedLearner {
  const [prior, priorSd] = earlier > 0 ? [Math.log(earlier), EARLIER_LOG_SD] : [0, PRIOR_LOG_SD]
  const inverseNeeds = Float64Array.from({ length: NEEDS }, (_, k) => Math.exp(-logNeed(k)))
  const score = Float64Array.from({ length: NEEDS }, (_, k) => -0.5 * ((logNeed(k) - prior) / priorSd) ** 2)
  // Steps kept, by their number in the ring, and the load at each for each need.
  const stepS = new Float64Array(KEPT)
  const rpms = new Float64Array(KEPT)
  const throttles = new Float64Array(KEPT)
  const loads = Array.from({ length: KEPT }, () => new Float64Array(NEEDS))
  // The step that is being filled.
  let place = Number.NaN
  let sumS = 0
  let sumRpm = 0
  let sumPct = 0
  let points = 0
  // Steps in a row without a gap, and those of them that were driven in gear.
  let steps = 0
  let driven = 0
  let stretches = 0
  const sums = createSums()

  function closeStep(): void {
    const at = steps % KEPT
    stepS[at] = sumS / points
    rpms[at] = sumRpm / points
    throttles[at] = sumPct / points
    const opened = throttles[at] / throttleQuickness(rpms[at])
    for (let k = 0; k < NEEDS; k++) loads[at][k] = throttleLoad(opened * inverseNeeds[k])
    steps++
    if (steps > 2 * HALF) look(steps - 1 - HALF)
  }

  /** Rise of speed about a step, rpm/s. */
  function riseAt(n: number): number {
    const after = (n + HALF) % KEPT
    const before = (n - HALF) % KEPT
    return (rpms[after] - rpms[before]) / (stepS[after] - stepS[before])
  }

  function look(n: number): void {
    const isDriven =
      throttles[n % KEPT] > LEAST_THROTTLE_PCT &&
      rpms[n % KEPT] > LEAST_RPM &&
      Math.abs(riseAt(n)) < MOST_RISE_RPM_S
    if (!isDriven) {
      endStretch()
      return
    }
    driven++
    // What was driven some steps ago is not at an end of the stretch.
    const kept = n - LEFT_OUT
    if (driven <= 2 * LEFT_OUT + LAG) return
    const load = (k: number) => {
      let sum = 0
      for (let i = -HALF; i <= HALF; i++) {
        const share = Math.abs(i) === HALF ? 0.5 : 1
        sum += share * loads[(kept - LAG + i) % KEPT][k]
      }
      return sum / (2 * HALF)
    }
    sums.add(rpms[kept % KEPT] / SPEED_UNIT_RPM, riseAt(kept), throttles[kept % KEPT], load)
  }

  function endStretch(): void {
    driven = 0
    const observations = (sums.count * STEP_S) / OBSERVED_S
    if (observations >= LEAST_OBSERVATIONS && sums.travelPct() >= LEAST_TRAVEL_PCT) {
      stretches++
      for (let k = 0; k < NEEDS; k++) {
        score[k] -= 0.5 * (observations - FREE) * Math.log(sums.unexplained(k) + UNEXPLAINED)
      }
    }
    sums.clear()
  }

  return {
    add(timeS, rpm, throttlePct) {
      if (Number.isNaN(rpm) || Number.isNaN(throttlePct)) return
      const here = Math.floor(timeS / STEP_S)
      if (here !== place) {
        if (points > 0) closeStep()
        // At ten samples a second a step may stay empty.
        if (!(here - place <= 2)) {
          endStretch()
          steps = 0
        }
        place = here
        sumS = 0
        sumRpm = 0
        sumPct = 0
        points = 0
      }
      sumS += timeS
      sumRpm += rpm
      sumPct += throttlePct
      points++
    },
    need() {
      if (stretches === 0) return Math.exp(prior)
      const best = score.reduce((a, b) => Math.max(a, b))
      let weight = 0
      let moment = 0
      for (let k = 0; k < NEEDS; k++) {
        const share = Math.exp(score[k] - best)
        weight += share
        moment += share * logNeed(k)
      }
      return Math.exp(moment / weight)
    },
    get stretches() {
      return stretches
    },
  }
}

const logNeed = (k: number) => (k - (NEEDS - 1) / 2) * LOG_STEP

/** Sums of one stretch for a line of the rise on load and speed. */
interface StretchSums {
  readonly count: number
  add(speed: number, rise: number, throttlePct: number, load: (k: number) => number): void
  travelPct(): number
  /** Share of the rise, constant and slope over speed taken off, that the load of one need leaves unexplained; a load that slows explains nothing. */
  unexplained(k: number): number
  clear(): void
}

function createSums(): StretchSums {
  const load = new Float64Array(NEEDS)
  const loadLoad = new Float64Array(NEEDS)
  const loadRise = new Float64Array(NEEDS)
  const loadSpeed = new Float64Array(NEEDS)
  let count = 0
  let firstSpeed = 0
  let speed = 0
  let speedSpeed = 0
  let rise = 0
  let riseRise = 0
  let speedRise = 0
  let leastPct = Number.POSITIVE_INFINITY
  let mostPct = Number.NEGATIVE_INFINITY
  return {
    get count() {
      return count
    },
    add(newSpeed, newRise, throttlePct, loadOf) {
      if (count === 0) firstSpeed = newSpeed
      const s = newSpeed - firstSpeed
      count++
      speed += s
      speedSpeed += s * s
      rise += newRise
      riseRise += newRise * newRise
      speedRise += s * newRise
      leastPct = Math.min(leastPct, throttlePct)
      mostPct = Math.max(mostPct, throttlePct)
      for (let k = 0; k < NEEDS; k++) {
        const l = loadOf(k)
        load[k] += l
        loadLoad[k] += l * l
        loadRise[k] += l * newRise
        loadSpeed[k] += l * s
      }
    },
    travelPct: () => mostPct - leastPct,
    unexplained(k) {
      const ss = speedSpeed - (speed * speed) / count
      const sr = speedRise - (speed * rise) / count
      const sl = loadSpeed[k] - (speed * load[k]) / count
      const slope = ss > 0 ? 1 / ss : 0
      const rr = riseRise - (rise * rise) / count - sr * sr * slope
      const ll = loadLoad[k] - (load[k] * load[k]) / count - sl * sl * slope
      const lr = loadRise[k] - (load[k] * rise) / count - sl * sr * slope
      if (!(rr > 0 && ll > 1e-9 && lr > 0)) return 1
      return Math.max(0, 1 - (lr * lr) / (ll * rr))
    },
    clear() {
      count = 0
      speed = 0
      speedSpeed = 0
      rise = 0
      riseRise = 0
      speedRise = 0
      leastPct = Number.POSITIVE_INFINITY
      mostPct = Number.NEGATIVE_INFINITY
      load.fill(0)
      loadLoad.fill(0)
      loadRise.fill(0)
      loadSpeed.fill(0)
    },
  }
}
