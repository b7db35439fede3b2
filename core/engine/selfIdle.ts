/** Throttle at rest so long, speed within this share of its own mean (definition of the trade). */
const SELF_IDLE_S = 10
const SELF_IDLE_SHARE = 0.12
/** Speed is a mean over about one working cycle, two turns, s·rpm: told from one ignition pulse to the next it scatters by itself. */
const CYCLE_S_RPM = 120
/** The stretch is looked for in steps of this, s. */
const STEP_S = 0.1
/** Steps that are kept: room for the stretch and the step under way. */
const STEPS = 128

/** Looks for the first stretch in which the engine idles by itself. O(1) a moment, and a look over ten seconds a step. */
export interface SelfIdleFinder {
  /** Where the first such stretch begins, capture seconds, and the coolant there, °C; NaN before one was seen. */
  fromS: number
  coolantC: number
  /** A moment with the throttle at rest. */
  atRest(timeS: number, rpm: number, dtS: number, coolantC: number): void
  /** The throttle moved, the engine died, or samples are missing. */
  leave(): void
}

export function createSelfIdleFinder(): SelfIdleFinder {
  // One ring of steps: when each began, its coolant then, and speed over it.
  const startS = new Float64Array(STEPS)
  const startC = new Float64Array(STEPS)
  const rpmSum = new Float64Array(STEPS)
  const weight = new Float64Array(STEPS)
  const least = new Float64Array(STEPS)
  const most = new Float64Array(STEPS)
  // Fields of an object, so that no number is boxed at each moment.
  const now = { meanRpm: Number.NaN, steps: 0 }

  const finder: SelfIdleFinder = {
    fromS: Number.NaN,
    coolantC: Number.NaN,
    atRest(t, rpm, dtS, coolantC) {
      if (!Number.isNaN(finder.fromS)) return
      const share = Math.min(1, (dtS * rpm) / CYCLE_S_RPM)
      now.meanRpm = Number.isNaN(now.meanRpm) ? rpm : now.meanRpm + share * (rpm - now.meanRpm)
      let at = (now.steps - 1) % STEPS
      if (now.steps === 0 || t - startS[at] >= STEP_S) {
        if (now.steps > 0) look(t)
        at = now.steps % STEPS
        now.steps++
        startS[at] = t
        startC[at] = coolantC
        rpmSum[at] = 0
        weight[at] = 0
        least[at] = now.meanRpm
        most[at] = now.meanRpm
      }
      rpmSum[at] += now.meanRpm * dtS
      weight[at] += dtS
      least[at] = Math.min(least[at], now.meanRpm)
      most[at] = Math.max(most[at], now.meanRpm)
    },
    leave() {
      now.steps = 0
      now.meanRpm = Number.NaN
    },
  }

  /** Whether the last ten seconds before this time were quiet. */
  function look(t: number): void {
    let sum = 0
    let total = 0
    let lowest = Number.POSITIVE_INFINITY
    let highest = 0
    for (let back = 1; back <= Math.min(now.steps, STEPS); back++) {
      const at = (now.steps - back) % STEPS
      sum += rpmSum[at]
      total += weight[at]
      lowest = Math.min(lowest, least[at])
      highest = Math.max(highest, most[at])
      if (t - startS[at] < SELF_IDLE_S) continue
      const mean = sum / total
      if (highest > mean * (1 + SELF_IDLE_SHARE) || lowest < mean * (1 - SELF_IDLE_SHARE)) return
      finder.fromS = startS[at]
      finder.coolantC = startC[at]
      return
    }
  }

  return finder
}
