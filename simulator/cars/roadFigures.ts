import type { CarProfile } from '../../core/contract/car.ts'
import type { ParameterChanges } from '../parameters.ts'

/** What an owner would write in the car's profile of its mass, gearing and road load, from the simulator's own figures of it. */
export function roadFigures(p: ParameterChanges): Pick<CarProfile, 'mass_kg' | 'gearing' | 'road_load'> {
  const gears: number[] = []
  for (let gear = 1; gear <= (p['vehicle.gears'] ?? 0); gear++) {
    const ratio = p[`vehicle.gear_${gear}` as 'vehicle.gear_1']
    if (ratio !== undefined) gears.push(Math.round(ratio * 1000) / 1000)
  }
  return {
    mass_kg: p['vehicle.mass_kg'],
    gearing: {
      final_drive: p['vehicle.final_drive'],
      gears,
      tyre_circumference_m: p['vehicle.tyre_m'],
    },
    road_load: {
      drag_area_m2: p['vehicle.drag_area_m2'],
      rolling_coefficient: p['vehicle.rolling'],
    },
  }
}
