import type { ParameterChanges } from './parameters.ts'
import type { Random } from './random.ts'

/** What kind of car it is, before its figures. */
export interface CarShape {
  displacementL: number
  cylinders: number
  primaries: number
  secondaries: number
  redlineRpm: number
  automatic: boolean
  rods: boolean
}

export function randomShape(random: Random): CarShape {
  const displacementL = Math.round(Math.exp(random.between(Math.log(0.9), Math.log(6.6))) * 10) / 10
  const cylinders =
    displacementL < 2.2
      ? 4
      : displacementL < 3.2
        ? random.pick([4, 6])
        : displacementL < 4.3
          ? random.pick([6, 8])
          : 8
  const primaries = displacementL < 1.5 ? 1 : displacementL < 2.6 ? random.pick([1, 2]) : 2
  const secondaries =
    displacementL > 3.6 && random.uniform() < 0.6 ? 2 : displacementL > 1.8 && primaries === 1 ? 1 : 0
  return {
    displacementL,
    cylinders,
    primaries,
    secondaries,
    redlineRpm: Math.round((6500 - 300 * displacementL + random.between(-400, 400)) / 50) * 50,
    automatic: random.uniform() < (displacementL > 3 ? 0.55 : 0.15),
    rods: random.uniform() < 0.25,
  }
}

/** Venturi for a greatest air speed of about 75 m/s (common practice, no source). */
function venturiMm(flowGS: number, barrels: number, random: Random): number {
  const areaMm2 = (flowGS / 1.15 / (75 * random.between(0.85, 1.2))) * 1000
  return Math.round(Math.sqrt((4 * areaMm2) / Math.PI / barrels) * 2) / 2
}

/** Figures of engine, carburettor, exhaust and car that suit the shape. */
export function carParameters(shape: CarShape, random: Random): ParameterChanges {
  const { displacementL, redlineRpm } = shape
  const mostGS = ((displacementL * redlineRpm * 0.85 * 0.85) / 120) * 1.17
  const primaryFlow =
    shape.secondaries > 0 ? (mostGS * shape.primaries) / (shape.primaries + 1.2 * shape.secondaries) : mostGS
  const venturi = venturiMm(primaryFlow, shape.primaries, random)
  const gears = shape.automatic ? 3 : random.pick([4, 4, 5])
  const tyre = random.between(1.7, 2.15)
  const massKg = Math.round(560 + 210 * displacementL + random.between(-80, 220))
  // Top gear turns so fast at 90 km/h; bigger engines are geared longer.
  const topRpm = random.between(2500, 3100) - 130 * displacementL
  const top = gears === 5 ? 0.83 : 1
  const gearing: ParameterChanges = shape.automatic
    ? { 'vehicle.gear_1': 2.5, 'vehicle.gear_2': 1.5, 'vehicle.gear_3': 1 }
    : {
        'vehicle.gear_1': random.between(3, 3.7),
        'vehicle.gear_2': random.between(1.9, 2.2),
        'vehicle.gear_3': random.between(1.3, 1.45),
        'vehicle.gear_4': 1,
        'vehicle.gear_5': 0.83,
      }
  return {
    'engine.displacement_L': displacementL,
    'engine.cylinders': shape.cylinders,
    'engine.idle_rpm': Math.round((930 - 45 * displacementL + random.between(-60, 90)) / 10) * 10,
    'engine.fast_idle_rpm': Math.round(random.between(1350, 1800) / 50) * 50,
    'engine.inertia_kgm2': 0.06 + 0.042 * displacementL,
    'engine.manifold_L': displacementL * random.between(0.9, 1.4),
    'engine.volumetric_efficiency': random.between(0.84, 0.97),
    'engine.peak_torque_rpm': redlineRpm * random.between(0.45, 0.62),
    'engine.redline_rpm': redlineRpm,
    'engine.thermostat_C': random.integer(78, 90),
    'engine.friction_scale': random.between(0.85, 1.15),
    'film.share_scale': random.between(0.8, 1.15),
    'film.time_scale': random.between(0.7, 1.4),
    'carb.primaries': shape.primaries,
    'carb.secondaries': shape.secondaries,
    'carb.venturi_mm': venturi,
    'carb.bore_mm': Math.round(venturi * random.between(1.2, 1.32) * 2) / 2,
    'carb.secondary_venturi_mm': Math.round(venturi * random.between(1.05, 1.2) * 2) / 2,
    'carb.valve_range_inHg': random.between(4.5, 5.5),
    'carb.curb_slot': random.between(0.25, 0.5),
    'exhaust.volume_L': displacementL * random.between(0.6, 1.5),
    'exhaust.mixing_share': random.between(0.12, 0.35),
    'vehicle.mass_kg': massKg,
    'vehicle.drag_area_m2': random.between(0.65, 1.0),
    'vehicle.rolling': random.between(0.011, 0.016),
    'vehicle.tyre_m': tyre,
    'vehicle.final_drive': Math.round((topRpm / ((25 * 60) / tyre) / top) * 100) / 100,
    'vehicle.gears': gears,
    ...gearing,
    'vehicle.automatic': shape.automatic ? 1 : 0,
    'vehicle.stall_rpm': Math.round(random.between(1500, 2000)),
  }
}
