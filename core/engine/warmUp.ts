import type { WarmUp } from '../contract/result.ts'
import { createChokeJudge } from './chokeJudge.ts'
import { stateCode } from './operatingState.ts'
import type { PointHistory } from './pointHistory.ts'
import { createSelfIdleFinder } from './selfIdle.ts'
import { createStartTracker } from './startTracker.ts'
import type { StateLimits } from './stateLimits.ts'
import type { TargetFinder } from './targetLambda.ts'

export interface WarmUpOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly thermostatC: number
  readonly warmIdleRpm: () => number
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

/** Share of the way to the thermostat that counts as warm; no way at all nearer than this, °C. */
const THERMOSTAT_SHARE = 0.8
const LEAST_WAY_C = 5
/** Slower than this a car stands: a receiver or sender shows some speed at rest, m/s. Chosen here. */
const STANDS_MS = 0.5
/** A start from below this is a cold one, °C; common practice, no source. */
const COLD_START_C = 30

export function createWarmUp(options: WarmUpOptions): WarmUpTracker {
  const { limits, thermostatC } = options
  const starts = createStartTracker(limits)
  const selfIdle = createSelfIdleFinder()
  const choke = createChokeJudge(limits, options.targets)
  // Fields of an object, so that no number is boxed at each point.
  const last = { seenS: Number.NaN, runS: Number.NaN }
  let isAtRest = false
  let to80S = Number.NaN

  /** Without a throttle the state tells rest; while cold, only a speed that no fast idle and no driving has. */
  function rests(history: PointHistory, at: number): boolean {
    const throttle = history.throttlePct[at]
    if (!Number.isNaN(throttle)) return throttle <= limits.rest_pct + limits.rest_gap_pct
    const state = history.base[at]
    if (state !== stateCode.warm_up) return state === stateCode.idle
    return history.rpm[at] < limits.idle_factor * options.warmIdleRpm()
  }

  /** A slow drive is no uneven idle: without a throttle the car must be known to stand. */
  function surelyRests(history: PointHistory, at: number): boolean {
    return !Number.isNaN(history.throttlePct[at]) || history.roadSpeedMs[at] < STANDS_MS
  }

  function followRest(history: PointHistory, at: number, dtS: number): void {
    const t = history.timeS[at]
    const coolantC = history.coolantC[at]
    const wasAtRest = isAtRest
    isAtRest = rests(history, at)
    if (!isAtRest) {
      selfIdle.leave()
      choke.leaveIdle()
      return
    }
    if (!wasAtRest) starts.released(t)
    selfIdle.atRest(t, history.rpm[at], dtS, coolantC)
    if (coolantC < limits.warm_C && dtS > 0 && surelyRests(history, at)) choke.coldIdle(history.rpm[at], dtS)
    else choke.leaveIdle()
  }

  function followCoolant(t: number, coolantC: number): void {
    if (!Number.isNaN(to80S)) return
    const { startCoolantC } = starts
    const wanted = startCoolantC + THERMOSTAT_SHARE * (thermostatC - startCoolantC)
    if (startCoolantC < thermostatC - LEAST_WAY_C && coolantC >= wanted) to80S = t - starts.firstFireS
  }

  return {
    point(history, n, dtS) {
      const at = n & history.mask
      const t = history.timeS[at]
      const rpm = history.rpm[at]
      last.seenS = t
      if (Number.isNaN(rpm)) return
      const coolantC = history.coolantC[at]
      if (!starts.point(t, rpm, coolantC)) {
        selfIdle.leave()
        return
      }
      last.runS = t
      followRest(history, at, dtS)
      followCoolant(t, coolantC)
      const lambda = history.lambda[0][at]
      choke.lambda(!Number.isNaN(lambda) ? lambda : history.lambda[1][at], coolantC, history.state[at], dtS)
    },
    gap() {
      selfIdle.leave()
      choke.leaveIdle()
    },
    finish() {},
    sinceFireS: () => (starts.hasFired ? last.seenS - starts.firstFireS : Number.NaN),
    stalls: () => starts.stalls,
    idlesByItself: () => !Number.isNaN(selfIdle.fromS),
    result() {
      const { firstFireS, startCoolantC } = starts
      if (Number.isNaN(firstFireS)) return null
      return {
        crank_s: numberOrNull(starts.crankS),
        stalls: starts.stalls,
        self_idle_s: numberOrNull(selfIdle.fromS - firstFireS),
        self_idle_coolant_C: numberOrNull(selfIdle.coolantC),
        choke: choke.verdict(starts.coldStalls),
        lambda_by_coolant: choke.byCoolant(),
        fired_s: firstFireS,
        start_coolant_C: numberOrNull(startCoolantC),
        start: startWord(startCoolantC),
        dies_on_release: starts.diesOnRelease > 0,
        restarts: starts.restarts,
        to_80_percent_s: numberOrNull(to80S),
        seconds: last.runS - firstFireS,
      }
    },
  }

  function startWord(coolantC: number): string {
    if (Number.isNaN(coolantC)) return 'unknown'
    if (coolantC < COLD_START_C) return 'cold'
    return coolantC < limits.warm_C ? 'cool' : 'warm'
  }
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)
