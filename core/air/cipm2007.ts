import { type AirState, checkAirState } from './humidAir.ts'
import { ZERO_CELSIUS_K } from './standardAtmosphere.ts'

// A. Picard et al., Revised formula for the density of moist air (CIPM-2007), Metrologia 45 (2008), appendix.
const SATURATION = [1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3]
const ENHANCEMENT = [1.00062, 3.14e-8, 5.6e-7]
const COMPRESSIBILITY = [
  1.58123e-6, -2.9331e-8, 1.1043e-10, 5.707e-6, -2.051e-8, 1.9898e-4, -2.376e-6, 1.83e-11, -0.765e-8,
]
const GAS_CONSTANT = 8.314472
const WATER_MOLAR_KG = 18.01528e-3
// Dry air with 400 µmol/mol of carbon dioxide, the paper's reference content.
const DRY_AIR_MOLAR_KG = 28.96546e-3

/**
 * Density of humid air, kg/m³, by CIPM-2007: a second opinion to `airDensityKgM3` with compressibility and enhancement
 * factor. The paper claims it for 15 to 27 °C and 60 to 110 kPa; beyond it degrades slowly.
 * NaN in any field gives NaN; impossible air throws `RangeError`.
 */
export function airDensityCipm2007KgM3(air: AirState): number {
  checkAirState(air)
  const celsius = air.temperatureC
  const kelvin = celsius + ZERO_CELSIUS_K
  const pressurePa = air.pressureKpa * 1000
  const saturationPa = Math.exp(
    SATURATION[0] * kelvin * kelvin + SATURATION[1] * kelvin + SATURATION[2] + SATURATION[3] / kelvin,
  )
  const enhancement = ENHANCEMENT[0] + ENHANCEMENT[1] * pressurePa + ENHANCEMENT[2] * celsius * celsius
  const x = (((air.humidityPct ?? 0) / 100) * enhancement * saturationPa) / pressurePa
  const [a0, a1, a2, b0, b1, c0, c1, d, e] = COMPRESSIBILITY
  const reduced = pressurePa / kelvin
  const first =
    a0 + a1 * celsius + a2 * celsius * celsius + (b0 + b1 * celsius) * x + (c0 + c1 * celsius) * x * x
  const compressibility = 1 - reduced * first + reduced * reduced * (d + e * x * x)
  const molarKg = DRY_AIR_MOLAR_KG * (1 - x * (1 - WATER_MOLAR_KG / DRY_AIR_MOLAR_KG))
  return (pressurePa * molarKg) / (compressibility * GAS_CONSTANT * kelvin)
}
