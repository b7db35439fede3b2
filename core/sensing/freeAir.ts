import { type AirState, DRY_AIR_OXYGEN_SHARE, oxygenShare } from '../air/humidAir.ts'
import { solveLeastSquares } from '../numeric/linearSystem.ts'
import { planar49 } from './planarSensors.ts'
import type { SensorCurve } from './sensorCurve.ts'

/**
 * Diffusion-limited pump current, mA, in gas with this mole share of oxygen: k ln(1/(1 − x)). NaN for NaN and for a
 * share outside 0 to below 1.
 */
export function diffusionCurrentMa(oxygenMoleShare: number, constantMa: number): number {
  if (!(oxygenMoleShare >= 0 && oxygenMoleShare < 1)) return NaN
  return constantMa * Math.log(1 / (1 - oxygenMoleShare))
}

/**
 * Nominal pump current, mA, of the sensor in ambient air: dry if no air is given, else lowered for its humidity by the
 * diffusion law (about 4 % on a hot damp day). NaN if the sensor's current in air is not known, or the air is.
 */
export function nominalAirCurrentMa(sensor: SensorCurve = planar49, air?: AirState): number {
  if (air === undefined) return sensor.airCurrentMa
  return (
    sensor.airCurrentMa *
    (diffusionCurrentMa(oxygenShare(air), 1) / diffusionCurrentMa(DRY_AIR_OXYGEN_SHARE, 1))
  )
}

/**
 * Gain of a sensor from its recorded current in free air, mA: recorded ÷ nominal. Later pump currents are divided by
 * it. Nominal is dry air's unless the air is given. NaN for NaN, for a current not above 0 and for a sensor without a
 * known current in air.
 */
export function freeAirGain(recordedMa: number, sensor: SensorCurve = planar49, air?: AirState): number {
  return recordedMa > 0 && recordedMa < Infinity ? recordedMa / nominalAirCurrentMa(sensor, air) : NaN
}

/** Standard uncertainty of a sensor's gain, share of its current: checked in air on an unknown damp day, and never checked. Common practice, no source. */
const CHECKED_GAIN_SHARE = 0.01
const UNCHECKED_GAIN_SHARE = 0.03

/** Standard uncertainty of a gain, share of the current; a gain of NaN was never checked. */
export function gainUncertainty(gain: number): number {
  return Number.isNaN(gain) ? UNCHECKED_GAIN_SHARE : CHECKED_GAIN_SHARE
}

export interface FreeAirLimits {
  /** Gain change from 1 that is worth a word. */
  readonly drifted: number
  /** Gain change from 1 beyond which the reading was most likely not taken in air, or the sensor is done for. */
  readonly implausible: number
  /** Change of gain over the history, in a straight line, that warns. */
  readonly trend: number
}

/** Common practice, no source. An untrimmed sensor alone may differ by several per cent. */
export const defaultFreeAirLimits: Readonly<FreeAirLimits> = Object.freeze({
  drifted: 0.08,
  implausible: 0.3,
  trend: 0.05,
})

export interface FreeAirCheck {
  readonly gain: number
  readonly nominalMa: number
  readonly verdict: 'ok' | 'drifted' | 'implausible'
  readonly text: string
}

/** One free-air reading judged. `implausible` also for NaN. */
export function checkFreeAir(
  recordedMa: number,
  sensor: SensorCurve = planar49,
  air?: AirState,
  limits: FreeAirLimits = defaultFreeAirLimits,
): FreeAirCheck {
  const nominalMa = nominalAirCurrentMa(sensor, air)
  const gain = freeAirGain(recordedMa, sensor, air)
  const away = Math.abs(gain - 1)
  if (!(away <= limits.implausible)) {
    const text = `${recordedMa} mA is too far from ${nominalMa.toFixed(2)} mA: is the sensor out in fresh air, and hot?`
    return { gain, nominalMa, verdict: 'implausible', text }
  }
  if (away > limits.drifted) {
    const percent = (100 * (gain - 1)).toFixed(1)
    return {
      gain,
      nominalMa,
      verdict: 'drifted',
      text: `the sensor reads ${percent} % off its nominal current in air`,
    }
  }
  return { gain, nominalMa, verdict: 'ok', text: 'the sensor reads its nominal current in air' }
}

/** One entry of a sensor's free-air history. */
export interface FreeAirEntry {
  /** Any clock that rises, days. */
  readonly day: number
  readonly gain: number
}

export interface FreeAirTrend {
  /** Entries with a usable gain. */
  readonly count: number
  /** Straight-line change of gain for each 100 days; NaN with fewer than two days. */
  readonly changePer100Days: number
  /** Straight-line change from the first to the last entry; NaN with fewer than two days. */
  readonly change: number
  readonly isDrifting: boolean
}

/**
 * Straight line through a sensor's free-air gains. Entries in any order; those with a NaN are left out. `isDrifting`
 * needs three entries, since two cannot tell drift from a bad reading.
 */
export function freeAirTrend(
  history: readonly FreeAirEntry[],
  limits: FreeAirLimits = defaultFreeAirLimits,
): FreeAirTrend {
  const usable = history.filter(({ day, gain }) => Number.isFinite(day) && Number.isFinite(gain))
  const days = usable.map(({ day }) => day)
  const spanDays = usable.length > 1 ? Math.max(...days) - Math.min(...days) : 0
  if (spanDays === 0) return { count: usable.length, changePer100Days: NaN, change: NaN, isDrifting: false }
  const [, perDay] = solveLeastSquares(
    usable.map(({ day }) => [1, day - days[0]]),
    usable.map(({ gain }) => gain),
  )
  const change = perDay * spanDays
  return {
    count: usable.length,
    changePer100Days: 100 * perDay,
    change,
    isDrifting: usable.length >= 3 && Math.abs(change) > limits.trend,
  }
}
