import { juniper } from './cars/juniper.ts'
import { marigold } from './cars/marigold.ts'
import { pebble } from './cars/pebble.ts'
import { randomCar } from './randomCar.ts'
import type { SimCar } from './simCar.ts'

/** The invented cars. */
export const cars: readonly SimCar[] = [marigold, juniper, pebble]

export const carNames: readonly string[] = cars.map((car) => car.name)

/**
 * A car by name; `random:<number>` makes one.
 * @throws RangeError that names them all
 */
export function findCar(name: string): SimCar {
  const found = cars.find((car) => car.name === name)
  if (found) return found
  const made = /^random:(\d{1,9})$/.exec(name)
  if (made) return randomCar(Number(made[1]))
  throw new RangeError(`unknown car: ${name} (expected ${carNames.join(', ')}, or random:<number>)`)
}
