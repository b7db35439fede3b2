import { stateCode } from '../engine/operatingState.ts'
import type { PointHistory } from '../engine/pointHistory.ts'

/** The samples of one full-throttle pull in one gear. */
export interface PullSamples {
  readonly timeS: number[]
  readonly rpm: number[]
  readonly lambda: number[]
  readonly roadSpeedMs: number[]
  readonly intakeAirC: number[]
  readonly barometerKpa: number[]
}

export interface PullFinder {
  point(history: PointHistory, n: number): void
  gap(): void
  readonly pulls: PullSamples[]
}

export interface PullOptions {
  readonly keeps: boolean
  /** Runs at the end of each pull, with the coolant then, °C; NaN where it is not told. */
  readonly onPull: (coolantC: number) => void
  readonly hasThrottle: () => boolean
}

/** Full throttle, %; without a sensor the load that only full throttle gives. */
const FULL_THROTTLE_PCT = 78
const FULL_LOAD = 0.9
/** A pull lasts so long and covers such a share of engine speed; common practice, no source. */
const LEAST_S = 1.8
const LEAST_SPEED_SHARE = 0.18
/** A fall of speed by this share within the pull is a change of gear. */
const SHIFT_SHARE = 0.03
/** Rows between kept samples are at least so far apart, s. */
const STEP_S = 0.05

export function createPullFinder(options: PullOptions): PullFinder {
  const pulls: PullSamples[] = []
  let samples = emptySamples()
  let mostRpm = 0
  let coolantC = Number.NaN

  function end(): void {
    const { timeS, rpm } = samples
    const count = timeS.length
    if (
      count > 3 &&
      timeS[count - 1] - timeS[0] >= LEAST_S &&
      rpm[count - 1] >= rpm[0] * (1 + LEAST_SPEED_SHARE)
    ) {
      options.onPull(coolantC)
      if (options.keeps) pulls.push(samples)
    }
    if (count > 0) samples = emptySamples()
    mostRpm = 0
  }

  return {
    pulls,
    gap: end,
    point(history, n) {
      const at = n & history.mask
      const rpm = history.rpm[at]
      const state = history.state[at]
      const isFull = options.hasThrottle()
        ? history.throttlePct[at] > FULL_THROTTLE_PCT
        : history.load[at] > FULL_LOAD
      if (!isFull || !(rpm > 0) || state === stateCode.off || rpm < mostRpm * (1 - SHIFT_SHARE)) {
        end()
        return
      }
      mostRpm = Math.max(mostRpm, rpm)
      coolantC = history.coolantC[at]
      const { timeS } = samples
      const t = history.timeS[at]
      if (timeS.length > 0 && t - timeS[timeS.length - 1] < STEP_S) return
      timeS.push(t)
      samples.rpm.push(rpm)
      const one = history.lambda[0][at]
      samples.lambda.push(!Number.isNaN(one) ? one : history.lambda[1][at])
      samples.roadSpeedMs.push(history.roadSpeedMs[at])
      samples.intakeAirC.push(history.intakeAirC[at])
      samples.barometerKpa.push(history.barometerKpa[at])
    },
  }
}

const emptySamples = (): PullSamples => ({
  timeS: [],
  rpm: [],
  lambda: [],
  roadSpeedMs: [],
  intakeAirC: [],
  barometerKpa: [],
})
