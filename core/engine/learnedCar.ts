import { SEA_LEVEL_PRESSURE_KPA } from '../air/standardAtmosphere.ts'
import { type ClosedLine, createClosedLineLearner } from './closedLine.ts'
import { defaultStateLimits } from './stateLimits.ts'
import { createThrottleNeedLearner } from './throttleNeed.ts'

/** What the state limits rest on for one car and day, learned as the samples come. */
export interface LearnedCar {
  /** Throttle reading at the closed position, %; NaN before anything was seen. */
  readonly throttleRestPct: number
  readonly warmIdleRpm: number
  readonly idleFrom: 'learned' | 'profile' | 'assumed'
  /** Air pressure where the board has no barometer, kPa. */
  readonly barometerKpa: number
  readonly barometerFrom: 'air_record' | 'engine_off' | 'full_throttle' | 'assumed'
  /** Pressure of the closed throttle, learned where the board tells no throttle. */
  readonly closedLine?: ClosedLine | undefined
  /** How much throttle the car needs for a load, against a middling one, learned where no pressure tells the load; else 1. */
  readonly throttleNeed: number
  /** Stretches of driving that it rests on. */
  readonly throttleNeedStretches: number
}

/** Learns rest, idle speed and air pressure from conditioned points; answers at any time. O(1) a point. */
export interface CarLearner {
  /** Air pressure from the `air` record, kPa; NaN for none. */
  airPressureKpa: number
  /** Warm idle speed of the car's profile, rpm; NaN for none. */
  profileIdleRpm: number
  /** The board tells the pressure as vacuum: nought with the engine off, whatever the air. It teaches nothing of the air then. */
  isVacuum: boolean
  add(timeS: number, rpm: number, throttlePct: number, mapKpa: number, coolantC: number): void
  learned(): LearnedCar
}

const THROTTLE_LEAST_PCT = -30
const THROTTLE_BINS_PER_PCT = 10
const THROTTLE_BINS = 1600
const RPM_PER_BIN = 10
const RPM_BINS = 300
/** A cluster of this many seconds is a resting place, no glitch. */
const LEAST_REST_S = 0.8
/** A closed position over this must have been seen with the engine slow, %; rpm. */
const UNPROVEN_REST_PCT = 6
const SLOW_RPM = 1300
/** Idle of an unknown engine, rpm; common practice, no source. */
const ASSUMED_IDLE_RPM = 800
const LEAST_IDLE_S = 4
/** Share of the largest cluster that the slowest, and a faster one beside it, must have; and how much faster neutral is at most. */
const FIRST_SHARE = 0.33
const SECOND_SHARE = 0.1
const NEUTRAL_FACTOR = 1.35
/** The same where engine speed alone is told: what is faster than this is the choke's fast idle. */
const NEUTRAL_FACTOR_BLIND = 1.2
/**
 * Where no throttle tells rest, a long cruise is no idle: none is looked for over this speed, rpm, and the slowest cluster that was seen for so long, s,
 * is idle's, however short beside the others. Chosen here.
 */
const MOST_IDLE_RPM = 1300
const LEAST_CLUSTER_S = 2
/** Where no throttle tells rest, a faster cluster is neutral's only if as much air passes (speed × pressure), within this share: else it is a slow cruise. Chosen here. */
const SAME_AIR_SHARE = 0.15
/** Below this the engine stands still and the manifold shows the air outside. */
const STANDING_RPM = 30
/** Manifold pressure at full throttle over the air outside, common practice without a source. */
const FULL_THROTTLE_SHARE = 0.975

/** `earlierNeed`: throttle need that earlier runs of the car taught. */
export function createCarLearner(warmC: number, restPct: number, earlierNeed = Number.NaN): CarLearner {
  const throttleS = new Float64Array(THROTTLE_BINS)
  const slowS = new Float64Array(THROTTLE_BINS)
  const idleS = new Float64Array(RPM_BINS)
  /** Pressure at these speeds, summed over time, kPa·s. */
  const idleKpaS = new Float64Array(RPM_BINS)
  const closed = createClosedLineLearner()
  const throttleNeed = createThrottleNeedLearner(earlierNeed)
  let hasThrottle = false
  let hasPressure = false
  let lastS = Number.NaN
  let slowRpm = Number.NaN
  let slowThrottlePct = Number.NaN
  let standingSum = 0
  let standingS = 0
  let mostMapKpa = Number.NaN
  let slowMapKpa = Number.NaN
  let restPctNow = Number.NaN
  let restCheckedS = Number.NEGATIVE_INFINITY

  /** The lowest cluster of the throttle. A drive that never let the pedal go shows none: then a high cluster is the foot's, not the stop's. */
  function findRest(): number {
    const lowest = lowestCluster()
    if (!(lowest > UNPROVEN_REST_PCT)) return lowest
    const at = (lowest - THROTTLE_LEAST_PCT) * THROTTLE_BINS_PER_PCT
    let idleSeconds = 0
    for (let i = Math.max(0, Math.round(at - THROTTLE_BINS_PER_PCT)); i <= at + THROTTLE_BINS_PER_PCT; i++) {
      idleSeconds += slowS[i]
    }
    return idleSeconds >= LEAST_REST_S ? lowest : 0
  }

  function lowestCluster(): number {
    const width = THROTTLE_BINS_PER_PCT / 2
    let sum = 0
    for (let i = 0; i < THROTTLE_BINS; i++) {
      sum += throttleS[i] - (i >= width ? throttleS[i - width] : 0)
      if (sum < LEAST_REST_S) continue
      let peak = i
      let best = sum
      let running = sum
      for (let k = i + 1; k < Math.min(THROTTLE_BINS, i + 2.5 * THROTTLE_BINS_PER_PCT); k++) {
        running += throttleS[k] - throttleS[k - width]
        if (running > best) {
          best = running
          peak = k
        }
      }
      return clusterMean(throttleS, peak - width / 2, 0.8 * THROTTLE_BINS_PER_PCT)
    }
    return Number.NaN
  }

  /** Mean bin, in percent, of the seconds within `half` bins of a place; moved once to its own mean. */
  function clusterMean(seconds: Float64Array, place: number, half: number): number {
    let at = place
    for (let pass = 0; pass < 3; pass++) {
      let weight = 0
      let moment = 0
      for (let i = Math.max(0, Math.round(at - half)); i <= Math.min(THROTTLE_BINS - 1, at + half); i++) {
        weight += seconds[i]
        moment += seconds[i] * (i + 0.5)
      }
      if (weight > 0) at = moment / weight - 0.5
    }
    return THROTTLE_LEAST_PCT + (at + 0.5) / THROTTLE_BINS_PER_PCT
  }

  /**
   * Mean speed of the idle cluster. An automatic idles slower in gear than in neutral: of two clusters that are near, the faster is the warm idle
   * that the limits are meant for.
   */
  function findIdle(): number {
    const end = hasThrottle ? RPM_BINS - 2 : MOST_IDLE_RPM / RPM_PER_BIN
    let total = 0
    let most = 0
    for (let i = 2; i < end; i++) {
      total += idleS[i]
      most = Math.max(most, around(idleS, i))
    }
    if (total < LEAST_IDLE_S) return Number.NaN
    const neutralFactor = hasThrottle || hasPressure ? NEUTRAL_FACTOR : NEUTRAL_FACTOR_BLIND
    let first = 0
    let peak = 0
    for (let i = 2; i < end; i++) {
      const here = around(idleS, i)
      if (first > 0 && i > first * neutralFactor) break
      const isPeak = here >= around(idleS, i - 1) && here >= around(idleS, i + 1)
      const firstLeast = hasThrottle ? FIRST_SHARE * most : LEAST_CLUSTER_S
      if (!isPeak || here < (first > 0 ? SECOND_SHARE * most : firstLeast)) continue
      if (first > 0 && !hasThrottle && !isSameAir(first, i)) continue
      if (first === 0) first = i
      if (i > peak * 1.1 || here > around(idleS, peak)) peak = i
    }
    let weight = 0
    let moment = 0
    for (let k = Math.round(peak * 0.92); k <= peak * 1.08; k++) {
      weight += idleS[k]
      moment += idleS[k] * (k + 0.5)
    }
    return (moment / weight) * RPM_PER_BIN
  }

  /** False where pressure tells that the faster of two clusters is no idle; true where it tells nothing. */
  function isSameAir(slow: number, fast: number): boolean {
    const air = (i: number) => (around(idleKpaS, i) / around(idleS, i)) * i
    return !(Math.abs(air(fast) / air(slow) - 1) > SAME_AIR_SHARE)
  }

  const around = (sums: Float64Array, i: number) =>
    sums[i - 2] + sums[i - 1] + sums[i] + sums[i + 1] + sums[i + 2]

  const learner: CarLearner = {
    airPressureKpa: Number.NaN,
    profileIdleRpm: Number.NaN,
    isVacuum: false,
    add(timeS, rpm, throttlePct, mapKpa, coolantC) {
      const dtS = timeS - lastS
      lastS = timeS
      if (!(dtS > 0 && dtS < 1)) return
      if (Number.isNaN(throttlePct)) {
        if (!hasThrottle) closed.add(rpm, mapKpa, dtS)
      } else {
        hasThrottle = true
        const bin = ((throttlePct - THROTTLE_LEAST_PCT) * THROTTLE_BINS_PER_PCT) | 0
        if (bin >= 0 && bin < THROTTLE_BINS) {
          throttleS[bin] += dtS
          if (!(rpm > SLOW_RPM)) slowS[bin] += dtS
        }
        if (timeS - restCheckedS > 1) {
          restCheckedS = timeS
          restPctNow = findRest()
        }
      }
      const share = Math.min(1, dtS / 0.5)
      slowRpm = !Number.isNaN(slowRpm) ? slowRpm + share * (rpm - slowRpm) : rpm
      slowThrottlePct = !Number.isNaN(slowThrottlePct)
        ? slowThrottlePct + share * (throttlePct - slowThrottlePct)
        : throttlePct
      const isAtRest = Number.isNaN(throttlePct) || throttlePct - restPctNow < restPct
      if (
        isAtRest &&
        rpm > 300 &&
        rpm < 2500 &&
        Math.abs(rpm - slowRpm) < 0.04 * rpm &&
        !(coolantC < warmC)
      ) {
        const bin = (rpm / RPM_PER_BIN) | 0
        if (bin < RPM_BINS) {
          idleS[bin] += dtS
          idleKpaS[bin] += mapKpa * dtS
        }
      }
      if (mapKpa > 0) hasPressure = true
      if (!hasPressure) throttleNeed.add(timeS, rpm, throttlePct - restPctNow)
      if (!(mapKpa > 55 && mapKpa < 115)) return
      if (rpm < STANDING_RPM) {
        standingSum += mapKpa * dtS
        standingS += dtS
      }
      slowMapKpa = !Number.isNaN(slowMapKpa) ? slowMapKpa + share * (mapKpa - slowMapKpa) : mapKpa
      if (!(slowMapKpa <= mostMapKpa)) mostMapKpa = slowMapKpa
    },
    learned() {
      const idle = findIdle()
      const own = learner.profileIdleRpm
      const isLearned = idle > 0 && !(own > 0 && Math.abs(idle / own - 1) > 0.4)
      const atFull = learner.isVacuum ? Number.NaN : mostMapKpa / FULL_THROTTLE_SHARE
      const air = learner.airPressureKpa
      const isStanding = standingS >= 0.5 && !learner.isVacuum
      const warmIdleRpm = isLearned ? idle : own > 0 ? own : ASSUMED_IDLE_RPM
      return {
        throttleRestPct: findRest(),
        warmIdleRpm,
        throttleNeed: hasPressure ? 1 : throttleNeed.need(),
        throttleNeedStretches: hasPressure ? 0 : throttleNeed.stretches,
        closedLine: hasThrottle ? undefined : closed.find(warmIdleRpm, defaultStateLimits.idle_factor),
        idleFrom: isLearned ? 'learned' : own > 0 ? 'profile' : 'assumed',
        barometerKpa: isStanding
          ? standingSum / standingS
          : air > 0
            ? air
            : atFull > 88
              ? atFull
              : SEA_LEVEL_PRESSURE_KPA,
        barometerFrom: isStanding
          ? 'engine_off'
          : air > 0
            ? 'air_record'
            : atFull > 88
              ? 'full_throttle'
              : 'assumed',
      }
    },
  }
  return learner
}
