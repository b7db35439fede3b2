import type { CoverageItem, Transient } from '../contract/result.ts'
import { stateCode } from './operatingState.ts'

/** How much of the test drive that answers the questions has been driven (definitions of the trade, common practice). */
export interface Coverage {
  steady(state: number, rpm: number, roadSpeedMs: number, dtS: number): void
  transient(transient: Transient): void
  state(state: number, dtS: number): void
  pull(): void
  items(): CoverageItem[]
}

const IDLE_WANT_S = 60
const CRUISE_SPEEDS = 3
const CRUISE_WANT_S = 30
const TIP_INS_CRUISE = 10
const TIP_INS_IDLE = 5
const PULLS = 3
const OVERRUNS = 3
/** An overrun or a full-throttle stretch counts from this length, s. */
const LEAST_OVERRUN_S = 1
/** Width of a cruise speed: of the road speed, m/s, or of engine speed without it, rpm. */
const SPEED_BIN_MS = 3
const SPEED_BIN_RPM = 350
const BINS = 32

export function createCoverage(): Coverage {
  const byRoad = new Float64Array(BINS)
  const byEngine = new Float64Array(BINS)
  // Fields of an object, so that no number is boxed at each moment.
  const have = {
    idleS: 0,
    overrunS: 0,
  }
  let fromCruise = 0
  let fromIdle = 0
  let pulls = 0
  let overruns = 0

  function cruiseSeconds(): number {
    const road = bestThree(byRoad)
    return road > 0 ? road : bestThree(byEngine)
  }

  return {
    steady(state, rpm, roadSpeedMs, dtS) {
      if (state === stateCode.idle) have.idleS += dtS
      if (state !== stateCode.cruise) return
      if (!Number.isNaN(roadSpeedMs))
        byRoad[Math.min(BINS - 1, Math.max(0, (roadSpeedMs / SPEED_BIN_MS) | 0))] += dtS
      else if (!Number.isNaN(rpm)) byEngine[Math.min(BINS - 1, (rpm / SPEED_BIN_RPM) | 0)] += dtS
    },
    transient({ kind, from_state }) {
      if (kind !== 'tip_in') return
      if (from_state === 'idle') fromIdle++
      else if (from_state === 'cruise' || from_state === 'part_throttle') fromCruise++
    },
    state(state, dtS) {
      if (state !== stateCode.overrun) {
        have.overrunS = 0
        return
      }
      const was = have.overrunS
      have.overrunS += dtS
      if (was < LEAST_OVERRUN_S && have.overrunS >= LEAST_OVERRUN_S) overruns++
    },
    pull() {
      pulls++
    },
    items: () => [
      { item: 'idle', have: have.idleS, want: IDLE_WANT_S, unit: 's' },
      { item: 'cruise', have: cruiseSeconds(), want: CRUISE_SPEEDS * CRUISE_WANT_S, unit: 's' },
      { item: 'tip_in_cruise', have: fromCruise, want: TIP_INS_CRUISE },
      { item: 'tip_in_idle', have: fromIdle, want: TIP_INS_IDLE },
      { item: 'pull', have: pulls, want: PULLS },
      { item: 'overrun', have: overruns, want: OVERRUNS },
    ],
  }
}

/** Seconds at the three speeds seen longest, none counted beyond what is wanted of it. */
function bestThree(bins: Float64Array): number {
  const sorted = Array.from(bins).sort((a, b) => b - a)
  let sum = 0
  for (let i = 0; i < CRUISE_SPEEDS; i++) sum += Math.min(CRUISE_WANT_S, sorted[i])
  return sum
}
