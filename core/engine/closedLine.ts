/**
 * Manifold pressure with the throttle shut, over engine speed: told from the data when the board has no throttle channel. A shut plate passes the
 * same air whatever the speed, so its pressure only falls as the engine turns faster, and no other running is lower.
 */
export interface ClosedLine {
  /** At and below this speed the line is idle's, rpm; from `overrunRpm` on it is overrun's; straight between. */
  readonly idleRpm: number
  readonly overrunRpm: number
  /** Speed × pressure of the closed throttle at idle, rpm·kPa: the same air passes in gear, where the engine turns slower at a higher pressure. */
  readonly idleFlow: number
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
const IDLE_FROM = 0.65
const IDLE_TO = 1.1
/** Idle's own steps of speed, rpm: finer, since pressure times speed is told by them. */
const IDLE_RPM_STEP = 20
const IDLE_RPM_BINS = 80
/** Steps of idle's speed × pressure, rpm·kPa. */
const FLOW_STEP = 200
const FLOW_BINS = 400
const LEAST_IDLE_S = 4
/** Share of idle's seconds below its highest flow: what is over it crept away with the plate a little open. */
const IDLE_SHARE = 0.9
/** A shut plate passes the same air at any speed: pressure times speed is idle's at most, with this much room. */
const CHOKED_ROOM = 1.1

export function createClosedLineLearner(): ClosedLineLearner {
  const seconds = new Float64Array(RPM_BINS * KPA_BINS)
  const idleSeconds = new Float64Array(IDLE_RPM_BINS * KPA_BINS)

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

  /** Seconds near idle speed by steps of speed × pressure; undefined when idle was hardly seen. */
  function idleFlows(warmIdleRpm: number): Float64Array | undefined {
    const first = Math.round((IDLE_FROM * warmIdleRpm) / IDLE_RPM_STEP)
    const last = Math.min(IDLE_RPM_BINS - 1, Math.floor((IDLE_TO * warmIdleRpm) / IDLE_RPM_STEP))
    const flows = new Float64Array(FLOW_BINS)
    let total = 0
    for (let b = first; b <= last; b++) {
      for (let k = 0; k < KPA_BINS; k++) {
        const flow = (b + 0.5) * IDLE_RPM_STEP * (LEAST_KPA + (k + 0.5) / BINS_PER_KPA)
        flows[Math.min(FLOW_BINS - 1, (flow / FLOW_STEP) | 0)] += idleSeconds[b * KPA_BINS + k]
        total += idleSeconds[b * KPA_BINS + k]
      }
    }
    return total < LEAST_IDLE_S ? undefined : flows
  }

  /** Flow below which `share` of the seconds lie, rpm·kPa. */
  function flowBelow(flows: Float64Array, share: number): number {
    let total = 0
    for (let k = 0; k < FLOW_BINS; k++) total += flows[k]
    let sum = 0
    let k = 0
    while (k < FLOW_BINS - 1) {
      sum += flows[k]
      if (sum >= share * total) break
      k++
    }
    return (k + 0.5) * FLOW_STEP
  }

  return {
    add(rpm, mapKpa, dtS) {
      const column = (rpm / RPM_STEP) | 0
      const row = ((mapKpa - LEAST_KPA) * BINS_PER_KPA) | 0
      if (!(column >= 0 && column < RPM_BINS && row >= 0 && row < KPA_BINS)) return
      seconds[column * KPA_BINS + row] += dtS
      const fine = (rpm / IDLE_RPM_STEP) | 0
      if (fine < IDLE_RPM_BINS) idleSeconds[fine * KPA_BINS + row] += dtS
    },
    find(warmIdleRpm, idleFactor) {
      const flows = idleFlows(warmIdleRpm)
      if (!flows) return undefined
      const idleFlow = flowBelow(flows, IDLE_SHARE)
      const overrunRpm = idleFactor * warmIdleRpm
      const overrunKpa = new Float64Array(RPM_BINS).fill(Number.NaN)
      const first = Math.floor(overrunRpm / RPM_STEP)
      // What is lower at a lower speed can only be lower still here.
      let cap = (CHOKED_ROOM * flowBelow(flows, 0.5)) / overrunRpm
      for (let b = first; b < RPM_BINS; b++) {
        const seen = lowest(b)
        if (seen < cap) cap = seen
        overrunKpa[b] = cap
      }
      return { idleRpm: IDLE_TO * warmIdleRpm, overrunRpm, idleFlow, overrunKpa }
    },
  }
}

/** Below this share of idle's highest speed the engine dies, whatever its throttle; common practice, no source. */
const LEAST_IDLE_SHARE = 0.5

/** Pressure of the closed throttle at a speed, kPa. */
export function closedPressureKpa(line: ClosedLine, rpm: number): number {
  const { idleRpm, overrunRpm, idleFlow, overrunKpa } = line
  if (rpm <= idleRpm) return idleFlow / Math.max(rpm, LEAST_IDLE_SHARE * idleRpm)
  const idleKpa = idleFlow / idleRpm
  const last = overrunKpa.length - 1
  if (rpm >= overrunRpm) return overrunKpa[Math.min(last, (rpm / RPM_STEP) | 0)]
  const high = overrunKpa[Math.min(last, (overrunRpm / RPM_STEP) | 0)]
  return idleKpa + ((high - idleKpa) * (rpm - idleRpm)) / (overrunRpm - idleRpm)
}
