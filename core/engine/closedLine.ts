/**
 * Manifold pressure with the throttle shut, over engine speed: told from the data when the board has no throttle channel. A shut plate passes the
 * same air whatever the speed, so its pressure only falls as the engine turns faster, and no other running is lower.
 */
export interface ClosedLine {
  /** At and below this speed the line is idle's, rpm; from `overrunRpm` on it is overrun's; straight between. */
  readonly idleRpm: number
  readonly overrunRpm: number
  /** Highest pressure of the closed throttle at idle (in gear, where that is higher), kPa. */
  readonly idleKpa: number
  /** By steps of speed from 0, kPa; NaN where nothing is known. */
  readonly overrunKpa: Float64Array
}

/** Adds up how long each pressure was seen at each speed. */
export interface ClosedLineLearner {
  add(rpm: number, mapKpa: number, dtS: number): void
  /** The line for this warm idle; undefined before idle was seen. */
  find(warmIdleRpm: number, idleFactor: number): ClosedLine | undefined
}

const RPM_STEP = 100
const RPM_BINS = 70
const LEAST_KPA = 8
const BINS_PER_KPA = 2
const KPA_BINS = 120
/** A cluster of this many seconds within this width is a resting place, no glitch. */
const LEAST_S = 0.6
const CLUSTER_KPA = 2.5
/** Idle is learned within these shares of the warm idle speed: in gear it is slower. */
const IDLE_FROM = 0.75
const IDLE_TO = 1.1
const LEAST_IDLE_S = 4
/** Share of idle's seconds below its highest pressure: what is over it crept away with the plate a little open. */
const IDLE_SHARE = 0.8
/** A shut plate passes the same air at any speed: pressure times speed is idle's at most, with this much room. */
const CHOKED_ROOM = 1.1

export function createClosedLineLearner(): ClosedLineLearner {
  const seconds = new Float64Array(RPM_BINS * KPA_BINS)

  /** Mean of the lowest cluster of one step of speed; NaN without one. */
  function lowest(rpmBin: number): number {
    const from = rpmBin * KPA_BINS
    const width = CLUSTER_KPA * BINS_PER_KPA
    let sum = 0
    for (let i = 0; i < KPA_BINS; i++) {
      sum += seconds[from + i] - (i >= width ? seconds[from + i - width] : 0)
      if (sum < LEAST_S) continue
      let weight = 0
      let moment = 0
      for (let k = Math.max(0, i - width + 1); k < Math.min(KPA_BINS, i + 2); k++) {
        weight += seconds[from + k]
        moment += seconds[from + k] * (k + 0.5)
      }
      return LEAST_KPA + moment / weight / BINS_PER_KPA
    }
    return Number.NaN
  }

  /** Pressure below which `share` of the seconds near idle speed lie, kPa; NaN when idle was not seen. */
  function idlePressure(warmIdleRpm: number, share: number): number {
    const first = Math.max(0, Math.round((IDLE_FROM * warmIdleRpm) / RPM_STEP))
    const last = Math.min(RPM_BINS - 1, Math.floor((IDLE_TO * warmIdleRpm) / RPM_STEP))
    let total = 0
    for (let i = first * KPA_BINS; i < (last + 1) * KPA_BINS; i++) total += seconds[i]
    if (total < LEAST_IDLE_S) return Number.NaN
    let sum = 0
    for (let k = 0; k < KPA_BINS; k++) {
      for (let b = first; b <= last; b++) sum += seconds[b * KPA_BINS + k]
      if (sum >= share * total) return LEAST_KPA + (k + 0.5) / BINS_PER_KPA
    }
    return Number.NaN
  }

  return {
    add(rpm, mapKpa, dtS) {
      const column = (rpm / RPM_STEP) | 0
      const row = ((mapKpa - LEAST_KPA) * BINS_PER_KPA) | 0
      if (column >= 0 && column < RPM_BINS && row >= 0 && row < KPA_BINS)
        seconds[column * KPA_BINS + row] += dtS
    },
    find(warmIdleRpm, idleFactor) {
      const idleKpa = idlePressure(warmIdleRpm, IDLE_SHARE)
      if (Number.isNaN(idleKpa)) return undefined
      const overrunRpm = idleFactor * warmIdleRpm
      const overrunKpa = new Float64Array(RPM_BINS).fill(Number.NaN)
      const first = Math.floor(overrunRpm / RPM_STEP)
      // What is lower at a lower speed can only be lower still here.
      let cap = (CHOKED_ROOM * idlePressure(warmIdleRpm, 0.5)) / idleFactor
      for (let b = first; b < RPM_BINS; b++) {
        const seen = lowest(b)
        if (seen < cap) cap = seen
        overrunKpa[b] = cap
      }
      return { idleRpm: IDLE_TO * warmIdleRpm, overrunRpm, idleKpa, overrunKpa }
    },
  }
}

/** Pressure of the closed throttle at a speed, kPa. */
export function closedPressureKpa(line: ClosedLine, rpm: number): number {
  const { idleRpm, overrunRpm, idleKpa, overrunKpa } = line
  if (rpm <= idleRpm) return idleKpa
  const last = overrunKpa.length - 1
  if (rpm >= overrunRpm) return overrunKpa[Math.min(last, (rpm / RPM_STEP) | 0)]
  const high = overrunKpa[Math.min(last, (overrunRpm / RPM_STEP) | 0)]
  return idleKpa + ((high - idleKpa) * (rpm - idleRpm)) / (overrunRpm - idleRpm)
}
