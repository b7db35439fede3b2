import { checkRange } from '../numeric/checkRange.ts'
import { ZERO_CELSIUS_K } from './standardAtmosphere.ts'

/** Range of the equations, °C (ASHRAE Handbook Fundamentals 2017, chapter 1). */
export const LOWEST_VAPOUR_TEMPERATURE_C = -100
export const HIGHEST_VAPOUR_TEMPERATURE_C = 200

// Triple point of water, °C: below it the equation over ice holds.
const TRIPLE_POINT_C = 0.01

// ASHRAE Handbook Fundamentals 2017, chapter 1, eq. 5 (over ice) and eq. 6 (over water): ln(p/Pa) by powers of T, and ln T.
const OVER_ICE = [-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019]
const OVER_WATER = [-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0, 6.5459673]

/**
 * Saturation pressure of water vapour, kPa, at a temperature in °C, −100 to 200; over ice below the triple point.
 * NaN gives NaN; outside throws `RangeError`. Source: ASHRAE Handbook Fundamentals 2017, chapter 1, eq. 5 and 6.
 */
export function saturationPressureKpa(temperatureC: number): number {
  checkRange('temperatureC', temperatureC, LOWEST_VAPOUR_TEMPERATURE_C, HIGHEST_VAPOUR_TEMPERATURE_C)
  const t = temperatureC + ZERO_CELSIUS_K
  const c = temperatureC <= TRIPLE_POINT_C ? OVER_ICE : OVER_WATER
  const polynomial = c[0] / t + c[1] + t * (c[2] + t * (c[3] + t * (c[4] + t * c[5])))
  return Math.exp(polynomial + c[6] * Math.log(t)) / 1000
}

/**
 * Dew point (frost point below the triple point), °C, at which the saturation pressure is the given vapour pressure,
 * kPa. NaN gives NaN; a pressure that no temperature from −100 to 200 °C gives throws `RangeError`.
 */
export function dewPointC(vapourPressureKpa: number): number {
  const lowestKpa = saturationPressureKpa(LOWEST_VAPOUR_TEMPERATURE_C)
  const highestKpa = saturationPressureKpa(HIGHEST_VAPOUR_TEMPERATURE_C)
  checkRange('vapourPressureKpa', vapourPressureKpa, lowestKpa, highestKpa)
  if (Number.isNaN(vapourPressureKpa)) return NaN
  let low = LOWEST_VAPOUR_TEMPERATURE_C
  let high = HIGHEST_VAPOUR_TEMPERATURE_C
  // 60 halvings of 300 K reach the resolution of a double; this is never called for each sample.
  for (let step = 0; step < 60; step++) {
    const middle = (low + high) / 2
    if (saturationPressureKpa(middle) < vapourPressureKpa) low = middle
    else high = middle
  }
  return (low + high) / 2
}
