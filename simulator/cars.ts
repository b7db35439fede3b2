import { marigold } from './cars/marigold.ts'
import { nearNames } from './parameters.ts'
import type { SimCar } from './simCar.ts'

/** The invented cars. */
export const cars: readonly SimCar[] = [marigold]

export const carNames: readonly string[] = cars.map((car) => car.name)

/**
 * A car by name.
 * @throws RangeError with near names
 */
export function findCar(name: string): SimCar {
  const found = cars.find((car) => car.name === name)
  if (found) return found
  const near = nearNames(name, carNames)
  throw new RangeError(`unknown car: ${name} (expected ${(near.length > 0 ? near : carNames).join(', ')})`)
}
