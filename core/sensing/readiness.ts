import { cellTemperatureC } from './cellTemperature.ts'
import { planar49 } from './planarSensors.ts'
import type { SensorCurve } from './sensorCurve.ts'

/**
 * State of a sensor by its cell. `unknown`: the board tells nothing of the cell (it gives λ alone); then the board's
 * own word is taken and λ is used.
 */
export type ReadinessState = 'unknown' | 'warming' | 'ready' | 'too_hot' | 'open' | 'short'

/** The states in the order of the codes that `readinessCode` gives. */
export const readinessStates: readonly ReadinessState[] = [
  'unknown',
  'warming',
  'ready',
  'too_hot',
  'open',
  'short',
]

export interface ReadinessOptions {
  /** Ready once the resistance is at or below this multiple of nominal. More: λ earlier and less true. */
  readonly readyFactor: number
  /** No longer ready above this multiple: the gap to `readyFactor` keeps a noisy cell from flickering. */
  readonly lostFactor: number
  /** Too hot below this multiple of nominal (0.45 is about 80 K over the working point by the model). */
  readonly hotFactor: number
  /** Below this, Ω, the cell is shorted: no hot cell goes there. */
  readonly shortOhm: number
  /** Above this, Ω, a cell that has been heated for `openAfter` light-off times is open; before that it is cold. */
  readonly openOhm: number
  /** Multiple of the sensor's light-off time. */
  readonly openAfter: number
  /** Temperature counted as 0 % of the warming, °C: where the ceramic starts to conduct measurably. */
  readonly startC: number
  /** Heater duty, %, at and above which a heater is still working at its limit; used without a cell resistance. */
  readonly fullDutyPct: number
}

/** Common practice, no source; the nominal resistance and the light-off time come with the sensor. */
export const defaultReadinessOptions: Readonly<ReadinessOptions> = Object.freeze({
  readyFactor: 1.35,
  lostFactor: 1.7,
  hotFactor: 0.45,
  shortOhm: 8,
  openOhm: 50_000,
  openAfter: 4,
  startC: 350,
  fullDutyPct: 95,
})

/** What the board tells of one sensor at one moment; NaN or left out = not told. */
export interface CellReading {
  readonly resistanceOhm?: number
  readonly heaterDutyPct?: number
  /** Time since the heater was switched on (or since the first sample), s. */
  readonly heatingS?: number
}

export interface Readiness {
  readonly state: ReadinessState
  /** Warming progress 0 to 100; 100 when ready or too hot, NaN when unknown, open or short. */
  readonly progressPct: number
}

/**
 * State of a sensor and its warming progress. `wasReady` is the last answer's claim and gives the hysteresis.
 * Without a resistance, a heater at full duty within the light-off time is warming by the clock; else `unknown`.
 */
export function sensorReadiness(
  reading: CellReading,
  sensor: SensorCurve = planar49,
  wasReady = false,
  options: ReadinessOptions = defaultReadinessOptions,
): Readiness {
  const { resistanceOhm = NaN, heaterDutyPct = NaN, heatingS = NaN } = reading
  const code = readinessCode(resistanceOhm, heaterDutyPct, heatingS, sensor, wasReady, options)
  return {
    state: readinessStates[code],
    progressPct: readinessProgressPct(code, resistanceOhm, heatingS, sensor, options),
  }
}

/** The state's index in `readinessStates`, without allocation: for each sample. Arguments as `sensorReadiness`. */
export function readinessCode(
  resistanceOhm: number,
  heaterDutyPct: number,
  heatingS: number,
  sensor: SensorCurve,
  wasReady: boolean,
  options: ReadinessOptions = defaultReadinessOptions,
): number {
  if (Number.isNaN(resistanceOhm)) {
    return heaterDutyPct >= options.fullDutyPct && heatingS < sensor.lightOffS ? 1 : 0
  }
  if (resistanceOhm < options.shortOhm) return 5
  const nominalOhm = sensor.nominalResistanceOhm
  if (resistanceOhm < options.hotFactor * nominalOhm) return 3
  if (resistanceOhm <= (wasReady ? options.lostFactor : options.readyFactor) * nominalOhm) return 2
  if (resistanceOhm >= options.openOhm && heatingS >= options.openAfter * sensor.lightOffS) return 4
  return 1
}

/** Warming progress, %, that belongs to a code of `readinessCode`; see `Readiness`. */
export function readinessProgressPct(
  code: number,
  resistanceOhm: number,
  heatingS: number,
  sensor: SensorCurve = planar49,
  options: ReadinessOptions = defaultReadinessOptions,
): number {
  if (code === 2 || code === 3) return 100
  if (code !== 1) return NaN
  if (Number.isNaN(resistanceOhm)) return Math.min(99, Math.max(0, (100 * heatingS) / sensor.lightOffS))
  const readyC = cellTemperatureC(options.readyFactor * sensor.nominalResistanceOhm, sensor)
  const share = (cellTemperatureC(resistanceOhm, sensor) - options.startC) / (readyC - options.startC)
  // 99 at most: 100 is said by the state, not by rounding.
  return Math.min(99, Math.max(0, 100 * share))
}

/** Whether λ may be used in this state: ready, or nothing known to the contrary. */
export function isLambdaUsable(state: ReadinessState): boolean {
  return state === 'ready' || state === 'unknown'
}
