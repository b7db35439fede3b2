import type { CarProfile } from '../../core/contract/car.ts'
import { fuelInTank } from '../../core/fuel/fuels.ts'

/** Name of the fuel in a car's tank; empty where none is noted, or one that is not known here (a profile from elsewhere). */
export function fuelName(car: CarProfile | undefined): string {
  try {
    return car?.fuel ? fuelInTank(car.fuel).name : ''
  } catch {
    return ''
  }
}
