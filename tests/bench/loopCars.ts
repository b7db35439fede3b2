import type { LoopCar } from './closedLoop.ts'
import { boxFor, drive, randomAir, randomCar, trueLambda, wrongSetup } from './randomCars.ts'

const driveS = 900

/** A simulated car with a wrong set-up, driven in traffic, other weather each day; each day warm, or from cold as its owner finds it. */
export function simulatedLoopCar(seed: number, startsCold = false): LoopCar {
  const random = randomCar(seed)
  const box = boxFor(random.car)
  return {
    name: random.car.name,
    seed,
    start: wrongSetup(random.car, box, seed),
    box,
    driveDay: (fitted, day) =>
      drive(random, fitted, randomAir(seed * 50 + day), seed * 50 + day, driveS, day, startsCold),
    trueLambda: (fitted) => trueLambda(random, fitted, seed + 7),
  }
}
