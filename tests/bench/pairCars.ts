import type { PairCar } from './comparePairs.ts'
import { drive, randomAir, randomCar } from './randomCars.ts'

const driveS = 600

/** A simulated car with the right parts, driven in traffic. */
export function simulatedPairCar(seed: number): PairCar {
  const random = randomCar(seed)
  const { right } = random.car
  const { main_jet } = right
  return {
    name: random.car.name,
    seed,
    driveWith(mainArea, which) {
      const rod = right.rod?.cruise_mm ?? 0
      const ring = (main_jet.bore_mm ?? 0) ** 2 - rod ** 2
      const bore_mm = Math.sqrt(mainArea * ring + rod ** 2)
      const fitted =
        mainArea === 1 ? right : { ...right, main_jet: { ...main_jet, label: bore_mm.toFixed(3), bore_mm } }
      return drive(random, fitted, randomAir(4 * seed + which), 4 * seed + which, driveS, which)
    },
  }
}
