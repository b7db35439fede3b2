import type { EnginePoint } from './operatingState.ts'

/**
 * The last seconds of conditioned engine points in one set of rings. Points have absolute numbers; number & `mask` is the place. What is found out
 * later about a point (its state, the λ that it caused) is written back to its place.
 */
export interface PointHistory {
  readonly mask: number
  /** Number of the oldest kept point, and one past the newest. */
  first: number
  end: number
  readonly timeS: Float64Array
  readonly rpm: Float64Array
  readonly throttlePct: Float64Array
  readonly mapKpa: Float64Array
  readonly load: Float64Array
  readonly coolantC: Float64Array
  readonly intakeAirC: Float64Array
  readonly barometerKpa: Float64Array
  readonly roadSpeedMs: Float64Array
  readonly secondaryPct: Float64Array
  /** Exhaust flow figure rpm × kPa summed over time, rpm·kPa·s: gas moves along the pipe by it. */
  readonly flowSum: Float64Array
  readonly flowRate: Float64Array
  /** State code, without and with tip-ins; 255 while not final. */
  readonly base: Uint8Array
  readonly state: Uint8Array
  /** λ caused at this point, by bank, NaN if none; and why (one of `trust`). */
  readonly lambda: readonly [Float64Array, Float64Array]
  readonly reason: readonly [Uint8Array, Uint8Array]
  /** When the gas of this point reached the sensor, s. */
  readonly arrivalS: Float64Array
  /** 1 where the point begins a new stretch after a gap. */
  readonly afterGap: Uint8Array
}

export const NOT_FINAL = 255

/** Power of two: 16 s at 500 Hz, longer at less. */
const DEFAULT_CAPACITY = 8192

/** Room for `capacity` points (a power of two). Throws `RangeError` for another number. */
export function createPointHistory(capacity: number = DEFAULT_CAPACITY): PointHistory {
  if (capacity < 2 || (capacity & (capacity - 1)) !== 0) {
    throw new RangeError(`invalid capacity: ${capacity} (expected a power of two)`)
  }
  const column = () => new Float64Array(capacity)
  return {
    mask: capacity - 1,
    first: 0,
    end: 0,
    timeS: column(),
    rpm: column(),
    throttlePct: column(),
    mapKpa: column(),
    load: column(),
    coolantC: column(),
    intakeAirC: column(),
    barometerKpa: column(),
    roadSpeedMs: column(),
    secondaryPct: column(),
    flowSum: column(),
    flowRate: column(),
    base: new Uint8Array(capacity),
    state: new Uint8Array(capacity),
    lambda: [column(), column()],
    reason: [new Uint8Array(capacity), new Uint8Array(capacity)],
    arrivalS: column(),
    afterGap: new Uint8Array(capacity),
  }
}

/** Flow below this moves the gas by diffusion and leaks, not by the engine; rpm·kPa, chosen here (a quarter of idle's). */
const LEAST_FLOW_RPM_KPA = 7000
/** Flow figure of a car that tells neither speed nor pressure: light cruise. */
const UNKNOWN_FLOW_RPM_KPA = 100_000
const UNKNOWN_PRESSURE_KPA = 50

/** Exhaust flow figure, rpm·kPa, from speed and manifold pressure, read or guessed; NaN: without pressure from speed alone, without speed a constant. */
export function flowFigure(rpm: number, flowKpa: number): number {
  if (!(rpm >= 0)) return UNKNOWN_FLOW_RPM_KPA
  return Math.max(LEAST_FLOW_RPM_KPA, rpm * (flowKpa > 0 ? flowKpa : UNKNOWN_PRESSURE_KPA))
}

/** Adds a point; the oldest leaves when the rings are full. */
export function addPoint(history: PointHistory, point: EnginePoint, isAfterGap: boolean): void {
  const { mask, end } = history
  const at = end & mask
  const before = (end - 1) & mask
  const flow = flowFigure(point.rpm, point.flowKpa)
  const dtS = end > 0 && !isAfterGap ? point.timeS - history.timeS[before] : 0
  history.timeS[at] = point.timeS
  history.rpm[at] = point.rpm
  history.throttlePct[at] = point.throttlePct
  history.mapKpa[at] = point.mapKpa
  history.load[at] = point.load
  history.coolantC[at] = point.coolantC
  history.intakeAirC[at] = point.intakeAirC
  history.barometerKpa[at] = point.barometerKpa
  history.roadSpeedMs[at] = point.roadSpeedMs
  history.secondaryPct[at] = point.secondaryPct
  history.flowSum[at] = (end > 0 ? history.flowSum[before] : 0) + flow * dtS
  history.flowRate[at] = flow
  history.base[at] = NOT_FINAL
  history.state[at] = NOT_FINAL
  history.lambda[0][at] = Number.NaN
  history.lambda[1][at] = Number.NaN
  history.arrivalS[at] = Number.NaN
  history.afterGap[at] = isAfterGap ? 1 : 0
  history.end = end + 1
  if (history.end - history.first > mask + 1) history.first = history.end - mask - 1
}
