import { type OperatingState, operatingStates } from '../contract/result.ts'
import { type ClosedLine, closedPressureKpa } from './closedLine.ts'
import type { StateLimits } from './stateLimits.ts'
import { hasOwnThrottleLimits, throttleQuickness } from './throttleLoad.ts'

/** States as the detectors pass them about; the index is the code. `running` is last. */
export const stateNames: readonly OperatingState[] = [...operatingStates, 'running']
export const stateCode = Object.freeze({
  off: 0,
  cranking: 1,
  warm_up: 2,
  idle: 3,
  cruise: 4,
  part_throttle: 5,
  power: 6,
  overrun: 7,
  tip_in: 8,
  tip_out: 9,
  running: 10,
})

/** One conditioned moment, as the state machine and what follows it take it. Reused; NaN = missing. */
export interface EnginePoint {
  timeS: number
  rpm: number
  /** Throttle over its closed position, %. */
  throttlePct: number
  mapKpa: number
  barometerKpa: number
  /** Manifold ÷ barometric pressure. */
  load: number
  /** Manifold pressure that the exhaust flow is reckoned by: as read, or guessed from speed and throttle. */
  flowKpa: number
  coolantC: number
  intakeAirC: number
  roadSpeedMs: number
  secondaryPct: number
  exhaustC: number
}

/** The state by the definitions, without tip-ins and tip-outs, which lie over it. */
export interface StateMachine {
  /** What the limits say now, before the least duration. */
  candidate: number
  candidateSinceS: number
  /** State that has lasted long enough. */
  confirmed: number
  /** Everything before this time is final. */
  finalS: number
  /** True since first fire, until the engine stands. */
  hasFired: boolean
  push(point: EnginePoint): void
  /** After a gap the past is final and the state is found anew. */
  reset(timeS: number): void
}

export interface StateMachineOptions {
  readonly limits: StateLimits
  readonly warmIdleRpm: () => number
  readonly hasThrottle: () => boolean
  readonly hasPressure: () => boolean
  /** Pressure of the closed throttle, for boards that tell no throttle; undefined while it is not known. */
  readonly closedLine?: () => ClosedLine | undefined
  /** How much throttle the car needs for a load, against a middling one: where no pressure tells the load. */
  readonly throttleNeed: () => number
  /** Runs for each stretch that has become final, half-open. */
  readonly onSpan: (state: number, startS: number, endS: number) => void
}

/** Engine speed alone tells overrun by its fall, rpm/s; common practice, no source. */
const FALLING_RPM_S = -150
/** Without a throttle: closed is told by a load below this share of what the engine idles at. */
const CLOSED_LOAD_GAP = 0.06
/** The same once the closed throttle's pressure is learned: within this of it, with half the gap between entering and leaving, kPa. */
const CLOSED_ROOM_KPA = 2.2
const CLOSED_GAP_KPA = 0.4

export function createStateMachine(options: StateMachineOptions): StateMachine {
  const { limits, onSpan } = options
  const hasOwnLimits = hasOwnThrottleLimits(limits)
  let previousS = Number.NaN
  let spanStartS = Number.NaN
  let isOff = false
  let isAtRest = false
  let isAboveIdle = false
  let isWarm = true
  let loadStep = 0
  let slowRpm = Number.NaN
  let idleLoad = 0.38

  const machine: StateMachine = {
    candidate: -1,
    candidateSinceS: Number.NaN,
    confirmed: -1,
    finalS: Number.NEGATIVE_INFINITY,
    hasFired: false,
    push(point) {
      const t = point.timeS
      const state = judge(point)
      if (machine.confirmed < 0) {
        machine.confirmed = state
        machine.candidate = state
        machine.candidateSinceS = t
        spanStartS = t
      }
      if (state !== machine.candidate) {
        machine.candidate = state
        machine.candidateSinceS = t
      }
      if (state === machine.confirmed) machine.finalS = t
      else if (t - machine.candidateSinceS >= limits.least_s) {
        if (machine.candidateSinceS > spanStartS)
          onSpan(machine.confirmed, spanStartS, machine.candidateSinceS)
        spanStartS = machine.candidateSinceS
        machine.confirmed = state
        machine.finalS = t
      }
      previousS = t
    },
    reset(timeS) {
      if (machine.confirmed >= 0 && previousS > spanStartS) onSpan(machine.confirmed, spanStartS, previousS)
      machine.confirmed = -1
      machine.finalS = timeS
      slowRpm = Number.NaN
    },
  }

  function judge(point: EnginePoint): number {
    const { rpm } = point
    if (Number.isNaN(rpm)) return stateCode.running
    if (rpm < limits.off_rpm || (isOff && rpm < limits.off_rpm * 1.2)) {
      isOff = true
      machine.hasFired = false
      return stateCode.off
    }
    isOff = false
    if (!machine.hasFired) {
      if (rpm <= limits.fire_rpm) return stateCode.cranking
      machine.hasFired = true
    }
    return running(point)
  }

  function running(point: EnginePoint): number {
    const factor = point.rpm / options.warmIdleRpm()
    isAboveIdle = factor > limits.idle_factor + (isAboveIdle ? -limits.factor_gap : limits.factor_gap)
    isAtRest = atRest(point)
    const { coolantC } = point
    if (!Number.isNaN(coolantC)) {
      isWarm = coolantC >= limits.warm_C + (isWarm ? -limits.coolant_gap_C : limits.coolant_gap_C)
    }
    if (isAtRest && isAboveIdle) return stateCode.overrun
    const state = isAtRest ? stateCode.idle : loaded(point)
    if (isWarm || state === stateCode.power || state === stateCode.running) return state
    return stateCode.warm_up
  }

  function atRest(point: EnginePoint): boolean {
    const { throttlePct, load, rpm, timeS } = point
    if (options.hasThrottle() && !Number.isNaN(throttlePct)) {
      return throttlePct <= limits.rest_pct + (isAtRest ? limits.rest_gap_pct : -limits.rest_gap_pct)
    }
    if (options.hasThrottle()) return isAtRest
    if (options.hasPressure()) {
      const line = options.closedLine?.()
      if (line) {
        const roomKpa = CLOSED_ROOM_KPA + (isAtRest ? CLOSED_GAP_KPA : -CLOSED_GAP_KPA)
        return point.mapKpa <= closedPressureKpa(line, rpm) + roomKpa
      }
      if (!isAboveIdle) idleLoad += 0.002 * (Math.min(load, 0.5) - idleLoad)
      return isAboveIdle ? load < idleLoad - CLOSED_LOAD_GAP + (isAtRest ? 0.02 : 0) : load < idleLoad + 0.1
    }
    const dtS = timeS - previousS
    const slope = dtS > 0 && !Number.isNaN(slowRpm) ? (rpm - slowRpm) / 0.4 : 0
    slowRpm = !Number.isNaN(slowRpm) && dtS > 0 ? slowRpm + Math.min(1, dtS / 0.4) * (rpm - slowRpm) : rpm
    return isAboveIdle ? slope < (isAtRest ? FALLING_RPM_S / 2 : FALLING_RPM_S) : true
  }

  function loaded(point: EnginePoint): number {
    let value = point.load
    let low = limits.cruise_load
    let high = limits.power_load
    let gap = limits.load_gap
    if (!options.hasPressure()) {
      if (!options.hasThrottle()) return stateCode.running
      const factor = throttleQuickness(point.rpm) * (hasOwnLimits ? 1 : options.throttleNeed())
      value = point.throttlePct
      low = limits.cruise_throttle_pct * factor
      high = limits.power_throttle_pct * factor
      gap = limits.throttle_gap_pct
    }
    if (!Number.isNaN(value)) {
      const isAboveLow = value > low + (loadStep > 0 ? -gap : gap)
      const isAboveHigh = value > high + (loadStep > 1 ? -gap : gap)
      loadStep = isAboveHigh ? 2 : isAboveLow ? 1 : 0
    }
    return stateCode.cruise + loadStep
  }

  return machine
}
