import { STANDARD_GRAVITY_M_S2 } from '../air/standardAtmosphere.ts'

/** What resists a car on the road. */
export interface RoadLoadCar {
  readonly massKg: number
  /** Drag coefficient × frontal area. */
  readonly dragAreaM2: number
  readonly rollingCoefficient: number
}

/** Common practice, no source: an older saloon (reference pack, vehicle-and-units: typical ranges). */
export const defaultDragAreaM2 = 0.85
export const defaultRollingCoefficient = 0.013
/** Wheels and driveline turn as well as move: their share on top of the mass in a lower gear; common practice, no source. */
export const ROTATING_SHARE = 0.05

/**
 * Force at the driven wheels, N, for a speed in m/s, an acceleration in m/s² and a slope in per cent: inertia, air, rolling and grade
 * (road-load equation of the reference pack). NaN in any argument gives NaN.
 */
export function wheelForceN(
  car: RoadLoadCar,
  speedMs: number,
  accelerationMs2: number,
  airDensityKgM3: number,
  gradePct = 0,
): number {
  const angle = Math.atan(gradePct / 100)
  return (
    car.massKg * (1 + ROTATING_SHARE) * accelerationMs2 +
    0.5 * airDensityKgM3 * car.dragAreaM2 * speedMs * speedMs +
    car.massKg * STANDARD_GRAVITY_M_S2 * (car.rollingCoefficient * Math.cos(angle) + Math.sin(angle))
  )
}

/** Power at the driven wheels, kW. */
export function wheelPowerKw(
  car: RoadLoadCar,
  speedMs: number,
  accelerationMs2: number,
  airDensityKgM3: number,
  gradePct = 0,
): number {
  return (wheelForceN(car, speedMs, accelerationMs2, airDensityKgM3, gradePct) * speedMs) / 1000
}
