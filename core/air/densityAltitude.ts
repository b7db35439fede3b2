import { type AirState, airDensityKgM3 } from './humidAir.ts'
import { altitudeOfDensityM } from './standardAtmosphere.ts'

/**
 * Density altitude, m: the altitude at which the standard atmosphere is as thin as this humid air. NaN in any field
 * gives NaN; impossible air throws `RangeError`. Exact inverse of the U.S. Standard Atmosphere 1976; weather services
 * round their constants and print 4 m to 6 m more.
 */
export function densityAltitudeM(air: AirState): number {
  return altitudeOfDensityM(airDensityKgM3(air))
}
