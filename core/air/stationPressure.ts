import { checkRange } from '../numeric/checkRange.ts'
import {
  pressureAltitudeM,
  SEA_LEVEL_PRESSURE_KPA,
  standardAtmosphere,
  ZERO_CELSIUS_K,
} from './standardAtmosphere.ts'

/** The three pressures that people read off and mix up. */
export type PressureKind =
  /** What a barometer at the place shows: the one the computations need. */
  | 'station'
  /** Reduced to sea level with the day's temperature: the weather report's figure. */
  | 'sea_level'
  /** Reduced to sea level with the standard atmosphere: an airfield's altimeter setting. */
  | 'altimeter_setting'

export interface ReportedPressure {
  readonly kind: PressureKind
  readonly pressureKpa: number
  /** Altitude of the place above sea level, m. */
  readonly altitudeM: number
  /** Air temperature at the place, °C; used for `sea_level` only, the standard atmosphere's if left out. */
  readonly temperatureC?: number
}

// Gas constant and gravity that the reduction below was published with, J/(kg K) and m/s²
// (ASHRAE Handbook Fundamentals, as in psychrolib: 287.055 and 9.807).
const REDUCTION_GAS_CONSTANT = 287.055
const REDUCTION_GRAVITY = 9.807
// Half the standard gradient over the column gives its mean temperature, K/m.
const COLUMN_GRADIENT_K_PER_M = 0.0065 / 2

// Inhabited road altitudes, chosen here with a margin, m.
const LOWEST_PLACE_M = -500
const HIGHEST_PLACE_M = 6000

function reductionFactor(altitudeM: number, temperatureC: number): number {
  checkRange('altitudeM', altitudeM, LOWEST_PLACE_M, HIGHEST_PLACE_M)
  checkRange('temperatureC', temperatureC, -100, 100)
  const columnK = temperatureC + COLUMN_GRADIENT_K_PER_M * altitudeM + ZERO_CELSIUS_K
  return Math.exp((altitudeM * REDUCTION_GRAVITY) / (REDUCTION_GAS_CONSTANT * columnK))
}

/**
 * Sea-level pressure, kPa, from the station pressure, kPa, the altitude, m, and the air temperature at the place, °C.
 * NaN gives NaN; an altitude outside −500 to 6000 m throws `RangeError`. Source: ASHRAE Handbook Fundamentals.
 */
export function seaLevelPressureKpa(stationKpa: number, altitudeM: number, temperatureC: number): number {
  return stationKpa * reductionFactor(altitudeM, temperatureC)
}

/**
 * Station pressure, kPa, from any reported pressure. NaN gives NaN; an impossible pressure or altitude throws `RangeError`.
 */
export function stationPressureKpa(reported: ReportedPressure): number {
  const { kind, pressureKpa, altitudeM } = reported
  checkRange('pressureKpa', pressureKpa, 30, 120)
  if (kind === 'station') return pressureKpa
  if (kind === 'sea_level') {
    const temperatureC = reported.temperatureC ?? standardAtmosphere(altitudeM).temperatureC
    return pressureKpa / reductionFactor(altitudeM, temperatureC)
  }
  if (kind === 'altimeter_setting') {
    checkRange('altitudeM', altitudeM, LOWEST_PLACE_M, HIGHEST_PLACE_M)
    return standardAtmosphere(altitudeM + pressureAltitudeM(pressureKpa)).pressureKpa
  }
  throw new RangeError(`invalid pressure kind: ${kind} (expected station, sea_level or altimeter_setting)`)
}

/**
 * Which kind a typed-in pressure most likely is at this altitude: `sea_level` if it is nearer to the standard sea-level
 * pressure than to the standard pressure of the place, `station` if nearer to that, `unclear` where the two lie closer
 * together than the weather moves them. A hint for the question to the user, never an answer.
 */
export function guessPressureKind(kpa: number, altitudeM: number): 'station' | 'sea_level' | 'unclear' {
  const placeKpa = standardAtmosphere(altitudeM).pressureKpa
  // Weather moves the pressure by about ±3 kPa: common practice, no source.
  if (!(Math.abs(SEA_LEVEL_PRESSURE_KPA - placeKpa) > 6)) return 'unclear'
  return Math.abs(kpa - SEA_LEVEL_PRESSURE_KPA) < Math.abs(kpa - placeKpa) ? 'sea_level' : 'station'
}
