import { checkRange } from '../numeric/checkRange.ts'

/** Standard gravity, m/s², exact (ISO 80000-3). */
export const STANDARD_GRAVITY_M_S2 = 9.80665
/** Specific gas constant of dry air, J/(kg K): 8.31432 / 0.0289644 (U.S. Standard Atmosphere 1976). */
export const DRY_AIR_GAS_CONSTANT = 8314.32 / 28.9644
/** Sea-level pressure, kPa, and temperature, K, of the standard atmosphere (U.S. Standard Atmosphere 1976, ISO 2533). */
export const SEA_LEVEL_PRESSURE_KPA = 101.325
export const SEA_LEVEL_TEMPERATURE_K = 288.15
/** Celsius zero, K, exact (ITS-90). */
export const ZERO_CELSIUS_K = 273.15

// Chosen here: the lowest layer's formula is used below sea level as far as the tables go.
const LOWEST_ALTITUDE_M = -5000
// Top of the last layer of the 1976 model below the mesopause, geopotential metres.
const HIGHEST_ALTITUDE_M = 84852

interface Layer {
  readonly baseM: number
  readonly lapseKPerM: number
  readonly baseK: number
  readonly baseKpa: number
}

// Geopotential base altitude, m, and temperature gradient, K/m, of each layer (U.S. Standard Atmosphere 1976, table 4).
const LAYER_GRADIENTS: readonly (readonly [number, number])[] = [
  [0, -0.0065],
  [11000, 0],
  [20000, 0.001],
  [32000, 0.0028],
  [47000, 0],
  [51000, -0.0028],
  [71000, -0.002],
]

const layers = stackLayers()

function stackLayers(): readonly Layer[] {
  const stack: Layer[] = []
  let below: Layer | undefined
  for (const [baseM, lapseKPerM] of LAYER_GRADIENTS) {
    const layer: Layer = below
      ? { baseM, lapseKPerM, baseK: temperatureK(below, baseM), baseKpa: pressureKpa(below, baseM) }
      : { baseM, lapseKPerM, baseK: SEA_LEVEL_TEMPERATURE_K, baseKpa: SEA_LEVEL_PRESSURE_KPA }
    stack.push(layer)
    below = layer
  }
  return stack
}

function temperatureK(layer: Layer, altitudeM: number): number {
  return layer.baseK + layer.lapseKPerM * (altitudeM - layer.baseM)
}

function pressureKpa(layer: Layer, altitudeM: number): number {
  const { baseM, baseK, baseKpa, lapseKPerM } = layer
  if (lapseKPerM === 0) {
    return baseKpa * Math.exp((-STANDARD_GRAVITY_M_S2 * (altitudeM - baseM)) / (DRY_AIR_GAS_CONSTANT * baseK))
  }
  const exponent = -STANDARD_GRAVITY_M_S2 / (DRY_AIR_GAS_CONSTANT * lapseKPerM)
  return baseKpa * (temperatureK(layer, altitudeM) / baseK) ** exponent
}

/** Air of the standard atmosphere at one altitude. */
export interface StandardAir {
  readonly temperatureC: number
  readonly pressureKpa: number
  readonly densityKgM3: number
}

/**
 * Standard atmosphere at a geopotential altitude in metres, −5000 to 84 852. NaN gives NaN; outside throws `RangeError`.
 * Source: U.S. Standard Atmosphere 1976, identical to ISO 2533 below 32 km.
 */
export function standardAtmosphere(altitudeM: number): StandardAir {
  checkRange('altitudeM', altitudeM, LOWEST_ALTITUDE_M, HIGHEST_ALTITUDE_M)
  let layer = layers[0]
  for (const candidate of layers) if (altitudeM >= candidate.baseM) layer = candidate
  const kelvin = temperatureK(layer, altitudeM)
  const kpa = pressureKpa(layer, altitudeM)
  return {
    temperatureC: kelvin - ZERO_CELSIUS_K,
    pressureKpa: kpa,
    densityKgM3: (kpa * 1000) / (DRY_AIR_GAS_CONSTANT * kelvin),
  }
}

/**
 * Altitude, geopotential metres, at which the standard atmosphere has this pressure (pressure altitude): the exact
 * inverse of `standardAtmosphere`. NaN gives NaN; a pressure outside the atmosphere's range throws `RangeError`.
 */
export function pressureAltitudeM(kpa: number): number {
  checkRange(
    'pressureKpa',
    kpa,
    standardAtmosphere(HIGHEST_ALTITUDE_M).pressureKpa,
    standardAtmosphere(LOWEST_ALTITUDE_M).pressureKpa,
  )
  let layer = layers[0]
  for (const candidate of layers) if (kpa <= candidate.baseKpa) layer = candidate
  const ratio = kpa / layer.baseKpa
  if (layer.lapseKPerM === 0) {
    return layer.baseM - (Math.log(ratio) * DRY_AIR_GAS_CONSTANT * layer.baseK) / STANDARD_GRAVITY_M_S2
  }
  return altitudeInGradient(layer, ratio, -STANDARD_GRAVITY_M_S2 / (DRY_AIR_GAS_CONSTANT * layer.lapseKPerM))
}

/**
 * Altitude, geopotential metres, at which the standard atmosphere has this density: the exact inverse of
 * `standardAtmosphere`. NaN gives NaN; a density outside the atmosphere's range throws `RangeError`.
 */
export function altitudeOfDensityM(densityKgM3: number): number {
  checkRange(
    'densityKgM3',
    densityKgM3,
    standardAtmosphere(HIGHEST_ALTITUDE_M).densityKgM3,
    standardAtmosphere(LOWEST_ALTITUDE_M).densityKgM3,
  )
  let layer = layers[0]
  for (const candidate of layers) if (densityKgM3 <= baseDensity(candidate)) layer = candidate
  const ratio = densityKgM3 / baseDensity(layer)
  if (layer.lapseKPerM === 0) {
    return layer.baseM - (Math.log(ratio) * DRY_AIR_GAS_CONSTANT * layer.baseK) / STANDARD_GRAVITY_M_S2
  }
  return altitudeInGradient(
    layer,
    ratio,
    -STANDARD_GRAVITY_M_S2 / (DRY_AIR_GAS_CONSTANT * layer.lapseKPerM) - 1,
  )
}

function baseDensity(layer: Layer): number {
  return (layer.baseKpa * 1000) / (DRY_AIR_GAS_CONSTANT * layer.baseK)
}

function altitudeInGradient(layer: Layer, ratio: number, exponent: number): number {
  return layer.baseM + (layer.baseK / layer.lapseKPerM) * (ratio ** (1 / exponent) - 1)
}

// Earth radius of the 1976 model, m.
const EARTH_RADIUS_M = 6356766

/** Geopotential altitude, m, of a geometric (map) altitude, m. Source: U.S. Standard Atmosphere 1976, eq. 18. */
export function geopotentialAltitudeM(geometricM: number): number {
  return (EARTH_RADIUS_M * geometricM) / (EARTH_RADIUS_M + geometricM)
}
