import { checkObject } from '../numeric/checkKind.ts'
import { checkRange } from '../numeric/checkRange.ts'
import {
  HIGHEST_VAPOUR_TEMPERATURE_C,
  LOWEST_VAPOUR_TEMPERATURE_C,
  saturationPressureKpa,
} from './saturationPressure.ts'
import { DRY_AIR_GAS_CONSTANT, ZERO_CELSIUS_K } from './standardAtmosphere.ts'

/** The air of a place and moment. */
export interface AirState {
  /** °C, −100 to 200. */
  readonly temperatureC: number
  /** Absolute pressure at the place itself (station pressure, not reduced to sea level), kPa, 1 to 500. */
  readonly pressureKpa: number
  /** Relative humidity, %, 0 to 100; dry air (0) if left out. */
  readonly humidityPct?: number
}

/** Specific gas constant of water vapour, J/(kg K). */
export const WATER_VAPOUR_GAS_CONSTANT = 461.495

// Chosen here: above 500 kPa the caller most likely passed hPa or Pa.
const LEAST_PRESSURE_KPA = 1
const MOST_PRESSURE_KPA = 500

/**
 * What is wrong with an air state, in words with the value, or `undefined` if it can be used. For readings that may be
 * dirt: the functions below throw this text as a `RangeError`. NaN is not wrong; it gives NaN.
 */
export function explainAirState(air: AirState): string | undefined {
  try {
    checkAirState(air)
    return undefined
  } catch (error) {
    return (error as RangeError).message
  }
}

/** Throws `RangeError` with the value if the air is impossible or outside the ranges of `AirState`; NaN passes. */
export function checkAirState(air: AirState): void {
  checkObject('air', air, 'temperatureC, pressureKpa, humidityPct')
  checkRange('temperatureC', air.temperatureC, LOWEST_VAPOUR_TEMPERATURE_C, HIGHEST_VAPOUR_TEMPERATURE_C)
  checkRange('pressureKpa', air.pressureKpa, LEAST_PRESSURE_KPA, MOST_PRESSURE_KPA)
  checkRange('humidityPct', air.humidityPct ?? 0, 0, 100)
  const vapourKpa = ((air.humidityPct ?? 0) / 100) * saturationPressureKpa(air.temperatureC)
  if (vapourKpa > air.pressureKpa) {
    throw new RangeError(
      `invalid humidityPct: ${air.humidityPct} at ${air.temperatureC} degC (its vapour pressure of ${vapourKpa} kPa is above the pressure of ${air.pressureKpa} kPa)`,
    )
  }
}

/** Partial pressure of water vapour, kPa. NaN in any field gives NaN; impossible air throws `RangeError`. */
export function vapourPressureKpa(air: AirState): number {
  checkAirState(air)
  return ((air.humidityPct ?? 0) / 100) * saturationPressureKpa(air.temperatureC)
}

/** Pressure of the dry part of the air, kPa. NaN in any field gives NaN; impossible air throws `RangeError`. */
export function dryPressureKpa(air: AirState): number {
  return air.pressureKpa - vapourPressureKpa(air)
}

/**
 * Density of humid air, kg/m³, as the sum of two ideal gases; within 0.1 % of CIPM-2007 in a garage's range.
 * NaN in any field gives NaN; impossible air throws `RangeError`.
 */
export function airDensityKgM3(air: AirState): number {
  const vapourKpa = vapourPressureKpa(air)
  const kelvin = air.temperatureC + ZERO_CELSIUS_K
  const dryKgM3 = ((air.pressureKpa - vapourKpa) * 1000) / (DRY_AIR_GAS_CONSTANT * kelvin)
  return dryKgM3 + (vapourKpa * 1000) / (WATER_VAPOUR_GAS_CONSTANT * kelvin)
}

/** Ratio of the molar masses of water and dry air. */
const WATER_TO_AIR_MASS = DRY_AIR_GAS_CONSTANT / WATER_VAPOUR_GAS_CONSTANT

/** Humidity ratio, kg of water for each kg of dry air. NaN in any field gives NaN; impossible air throws `RangeError`. */
export function humidityRatio(air: AirState): number {
  const vapourKpa = vapourPressureKpa(air)
  return (WATER_TO_AIR_MASS * vapourKpa) / (air.pressureKpa - vapourKpa)
}

/** Oxygen in dry air, mole share (U.S. Standard Atmosphere 1976: 20.946 %, rounded). */
export const DRY_AIR_OXYGEN_SHARE = 0.20946

/** Oxygen in humid air, mole share. NaN in any field gives NaN; impossible air throws `RangeError`. */
export function oxygenShare(air: AirState): number {
  return DRY_AIR_OXYGEN_SHARE * (dryPressureKpa(air) / air.pressureKpa)
}
