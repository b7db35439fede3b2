import type { WarmUp } from '../contract/result.ts'
import { stateCode } from './operatingState.ts'
import type { PointHistory } from './pointHistory.ts'
import type { StateLimits } from './stateLimits.ts'
import type { TargetFinder } from './targetLambda.ts'

export interface WarmUpOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly thermostatC: number
}

/** Follows starts, stalls, choke and the way to the first idle by itself. */
export interface WarmUpTracker {
  point(history: PointHistory, n: number, dtS: number): void
  gap(startS: number, endS: number): void
  finish(): void
  /** Live progress: seconds since the first fire, NaN when no start was seen. */
  sinceFireS(): number
  stalls(): number
  idlesByItself(): boolean
  /** Null when the run has no start. */
  result(): WarmUp | null
}

/** Throttle at rest so long, speed within this share of its own mean (definition of the trade). */
const SELF_IDLE_S = 10
const SELF_IDLE_SHARE = 0.12
/** Off for longer than this is a stop, not a stall, s; common practice, no source. */
const STALL_RESTART_S = 60
/** No engine runs so slowly: one that ran has died, though the starter may catch it before it stands, rpm; common practice, no source. */
const DEAD_RPM = 250
/** The starter has it again when speed has risen by so much since it died, rpm. */
const CAUGHT_RPM = 60
/** A stall so soon after the throttle was released died of the release, s. */
const RELEASE_S = 3
const BIN_C = 5
const BINS = 32
const FIRST_BIN_C = -30
/** Least λ seconds of warm-up for a word on the choke. */
const LEAST_CHOKE_S = 20
/** Unsteady: engine speed at rest scatters by more than this share over two seconds. */
const UNSTEADY_SHARE = 0.045
/** Beyond the band: lean over it is early, rich under it late. */
const CHOKE_UPPER_C = 25
const THERMOSTAT_SHARE = 0.8
/** An older engine idles by itself from about here, °C (trade): a stall below it may be the choke's. */
const CHOKE_COLD_C = 48
/** Leaner than its target by this on the whole, such an engine stalls for want of fuel. */
const EARLY_LEAN = 0.02

export function createWarmUp(options: WarmUpOptions): WarmUpTracker {
  const { limits, targets } = options
  const lambdaSum = new Float64Array(BINS)
  const coolantSum = new Float64Array(BINS)
  const binS = new Float64Array(BINS)
  const offSum = new Float64Array(BINS)
  // Fields of an object, so that no number is boxed at each point.
  const now = {
    lastS: Number.NaN,
    lastRunS: Number.NaN,
    crankFromS: Number.NaN,
    restFromS: Number.NaN,
    lastReleaseS: Number.NaN,
    idleFromS: Number.NaN,
    idleSum: 0,
    idleWeight: 0,
    idleLeast: 0,
    idleMost: 0,
    slowRpm: Number.NaN,
    unevenSum: 0,
    unevenS: 0,
    coldLambdaS: 0,
    chokeOffSum: 0,
    chokeS: 0,
    leanS: 0,
    richLateS: 0,
    lateS: 0,
  }
  let crankS = Number.NaN
  let firstFireS = Number.NaN
  let startCoolantC = Number.NaN
  let hasFired = false
  let wasOff = false
  let offFromS = Number.NaN
  let offWasStall = false
  let leastSinceDeathRpm = Number.NaN
  let deathC = Number.NaN
  let coldStalls = 0
  let stalls = 0
  let diesOnRelease = 0
  let restarts = 0
  // The quiet stretch under way: sums since its start, and the extremes of speed in it.
  let selfIdleS = Number.NaN
  let selfIdleC = Number.NaN
  let to80S = Number.NaN
  // Unevenness: scatter of speed around a slow mean while cold.

  function onFire(t: number, coolantC: number): void {
    if (Number.isNaN(crankS) && !Number.isNaN(now.crankFromS)) crankS = t - now.crankFromS
    if (Number.isNaN(firstFireS)) {
      firstFireS = t
      startCoolantC = coolantC
    } else restarts++
    hasFired = true
    now.idleFromS = Number.NaN
  }

  function onDeath(t: number, coolantC: number): void {
    hasFired = false
    offFromS = t
    leastSinceDeathRpm = Number.POSITIVE_INFINITY
    deathC = coolantC
    now.crankFromS = Number.NaN
    offWasStall = t - now.lastReleaseS <= RELEASE_S
    now.idleFromS = Number.NaN
  }

  function countStall(t: number): void {
    if (t - offFromS < STALL_RESTART_S) {
      stalls++
      if (deathC < CHOKE_COLD_C) coldStalls++
      if (offWasStall) diesOnRelease++
    }
    offFromS = Number.NaN
  }

  function followIdle(t: number, rpm: number, dtS: number, coolantC: number): void {
    if (Number.isNaN(now.idleFromS)) restartIdle(t, rpm)
    now.idleSum += rpm * dtS
    now.idleWeight += dtS
    now.idleLeast = Math.min(now.idleLeast, rpm)
    now.idleMost = Math.max(now.idleMost, rpm)
    const mean = now.idleWeight > 0 ? now.idleSum / now.idleWeight : rpm
    if (now.idleMost > mean * (1 + SELF_IDLE_SHARE) || now.idleLeast < mean * (1 - SELF_IDLE_SHARE)) {
      restartIdle(t, rpm)
      return
    }
    if (Number.isNaN(selfIdleS) && t - now.idleFromS >= SELF_IDLE_S) {
      selfIdleS = now.idleFromS - firstFireS
      selfIdleC = coolantC
    }
  }

  function restartIdle(t: number, rpm: number): void {
    now.idleFromS = t
    now.idleSum = 0
    now.idleWeight = 0
    now.idleLeast = rpm
    now.idleMost = rpm
  }

  function followLambda(lambda: number, coolantC: number, state: number, dtS: number): void {
    if (!(lambda < 1.6) || Number.isNaN(coolantC)) return
    if (state === stateCode.overrun || state === stateCode.tip_in || state === stateCode.tip_out) return
    if (state === stateCode.power || state === stateCode.off || state === stateCode.cranking) return
    const bin = Math.max(0, Math.min(BINS - 1, ((coolantC - FIRST_BIN_C) / BIN_C) | 0))
    const targetState = coolantC < limits.warm_C ? stateCode.warm_up : state
    const off = lambda - targets.lambda(targetState, coolantC)
    lambdaSum[bin] += lambda * dtS
    coolantSum[bin] += coolantC * dtS
    offSum[bin] += off * dtS
    binS[bin] += dtS
    if (coolantC >= limits.warm_C) return
    const band = targets.targets.warm_up
    now.coldLambdaS += dtS
    if (coolantC < CHOKE_COLD_C) {
      now.chokeOffSum += off * dtS
      now.chokeS += dtS
    }
    if (off > band.lean) now.leanS += dtS
    if (coolantC > CHOKE_UPPER_C) {
      now.lateS += dtS
      if (off < -band.rich) now.richLateS += dtS
    }
  }

  function choke(): WarmUp['choke'] {
    if (now.coldLambdaS < LEAST_CHOKE_S) return 'unknown'
    const uneven = now.unevenS > 5 ? Math.sqrt(now.unevenSum / now.unevenS) : 0
    if (
      now.leanS > 0.3 * now.coldLambdaS &&
      (uneven > UNSTEADY_SHARE || coldStalls > 0 || now.leanS > 0.5 * now.coldLambdaS)
    )
      return 'early'
    if (coldStalls > 0 && now.chokeOffSum > EARLY_LEAN * now.chokeS) return 'early'
    if (now.lateS > 10 && now.richLateS > 0.4 * now.lateS && uneven < UNSTEADY_SHARE) return 'late'
    return 'fine'
  }

  return {
    point(history, n, dtS) {
      const at = n & history.mask
      const t = history.timeS[at]
      const rpm = history.rpm[at]
      now.lastS = t
      if (Number.isNaN(rpm)) return
      const coolantC = history.coolantC[at]
      if (hasFired && rpm < DEAD_RPM) onDeath(t, coolantC)
      if (rpm < limits.off_rpm) {
        leastSinceDeathRpm = Math.min(leastSinceDeathRpm, rpm)
        wasOff = true
        now.crankFromS = Number.NaN
        return
      }
      if (!hasFired) {
        if (rpm <= limits.fire_rpm) {
          // Of an engine that runs down, only speed that rises again tells of the starter.
          leastSinceDeathRpm = Math.min(leastSinceDeathRpm, rpm)
          const isCaught = Number.isNaN(offFromS) || rpm > leastSinceDeathRpm + CAUGHT_RPM
          if (Number.isNaN(now.crankFromS) && isCaught) {
            now.crankFromS = t
            wasOff = true
            countStall(t)
          }
          return
        }
        // It runs on before a cranking speed was seen.
        if (!Number.isNaN(offFromS)) {
          wasOff = true
          countStall(t)
        }
        // A run that begins with the engine running has no start to tell of.
        if (wasOff) onFire(t, coolantC)
        hasFired = true
      }
      if (Number.isNaN(firstFireS)) return
      now.lastRunS = t
      const throttle = history.throttlePct[at]
      const isAtRest = Number.isNaN(throttle) || throttle <= limits.rest_pct + limits.rest_gap_pct
      if (isAtRest) {
        if (Number.isNaN(now.restFromS)) {
          now.restFromS = t
          now.lastReleaseS = t
        }
        followIdle(t, rpm, dtS, coolantC)
        if (coolantC < limits.warm_C && dtS > 0) {
          now.slowRpm = !Number.isNaN(now.slowRpm)
            ? now.slowRpm + Math.min(1, dtS) * (rpm - now.slowRpm)
            : rpm
          now.unevenSum += ((rpm - now.slowRpm) / now.slowRpm) ** 2 * dtS
          now.unevenS += dtS
        }
      } else {
        now.restFromS = Number.NaN
        now.idleFromS = Number.NaN
        now.slowRpm = Number.NaN
      }
      if (Number.isNaN(to80S)) {
        const wanted = startCoolantC + THERMOSTAT_SHARE * (options.thermostatC - startCoolantC)
        if (startCoolantC < options.thermostatC - 5 && coolantC >= wanted) to80S = t - firstFireS
      }
      const lambda = history.lambda[0][at]
      followLambda(!Number.isNaN(lambda) ? lambda : history.lambda[1][at], coolantC, history.state[at], dtS)
    },
    gap() {
      now.idleFromS = Number.NaN
      now.slowRpm = Number.NaN
    },
    finish() {},
    sinceFireS: () => (hasFired ? now.lastS - firstFireS : Number.NaN),
    stalls: () => stalls,
    idlesByItself: () => !Number.isNaN(selfIdleS),
    result() {
      if (Number.isNaN(firstFireS)) return null
      const rows: [number, number, number][] = []
      for (let bin = 0; bin < BINS; bin++) {
        if (binS[bin] < 1) continue
        const lambda = lambdaSum[bin] / binS[bin]
        rows.push([coolantSum[bin] / binS[bin], lambda, lambda - offSum[bin] / binS[bin]])
      }
      return {
        crank_s: numberOrNull(crankS),
        stalls,
        self_idle_s: numberOrNull(selfIdleS),
        self_idle_coolant_C: numberOrNull(selfIdleC),
        choke: choke(),
        lambda_by_coolant: rows,
        fired_s: firstFireS,
        start_coolant_C: numberOrNull(startCoolantC),
        start:
          startCoolantC < 30
            ? 'cold'
            : startCoolantC < limits.warm_C
              ? 'cool'
              : startCoolantC >= limits.warm_C
                ? 'warm'
                : 'unknown',
        dies_on_release: diesOnRelease > 0,
        restarts,
        to_80_percent_s: numberOrNull(to80S),
        seconds: now.lastRunS - firstFireS,
      }
    },
  }
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)
