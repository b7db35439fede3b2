import type { Fitted } from '../../../core/contract/car.ts'
import type { PairCar } from '../comparePairs.ts'
import { randomCar, rightSetup } from './engine.ts'
import { fittedOf, randomWeather, run } from './scoreRuns.ts'

const driveS = 600

/** A car of the second engine with the right parts, driven in traffic. */
export function secondPairCar(seed: number): PairCar {
  const car = randomCar(seed)
  const right = fittedOf(rightSetup)
  return {
    name: 'second',
    seed,
    driveWith(mainArea, which) {
      const bore_mm = rightSetup.mainMm * Math.sqrt(mainArea)
      const fitted: Fitted =
        mainArea === 1 ? right : { ...right, main_jet: { label: bore_mm.toFixed(3), bore_mm } }
      const drawn = seed * 4 + which
      return run(car, fitted, randomWeather(drawn), drawn, driveS, which).analysis
    },
  }
}
