import type { LoopCar } from '../closedLoop.ts'
import { density, randomCar, referenceWeather, rightSetup, steadyLambda } from './engine.ts'
import { createRandom } from './random.ts'
import { box, fittedOf, randomWeather, run, setupOf } from './scoreRuns.ts'

const driveS = 900
/** Operating points at which the true mixture of a state is looked at: engine speed (of idle its own), load. */
const points: Readonly<Record<string, readonly [number, number]>> = {
  cruise: [2200, 0.45],
  part_throttle: [2200, 0.68],
  power: [2600, 0.96],
}
const idleLoad = 0.34

/** A car of the second engine with a wrong set-up, driven in traffic, other weather each day. */
export function secondLoopCar(seed: number): LoopCar {
  const car = randomCar(seed)
  const r = createRandom(seed + 4000)
  const start = fittedOf({
    mainMm: rightSetup.mainMm * r.between(0.9, 1.1),
    powerMm: rightSetup.powerMm * r.between(0.86, 1.14),
    secondaryMm: rightSetup.secondaryMm,
    turns: r.between(0.9, 2.6),
  })
  const ratio = density(referenceWeather) / density(referenceWeather)
  return {
    name: 'second',
    seed,
    start,
    box,
    driveDay: (fitted, day) =>
      run(car, fitted, randomWeather(seed * 20 + day), seed * 20 + day, driveS, day).analysis,
    trueLambda(fitted) {
      const at = (rpm: number, load: number) => steadyLambda(car, setupOf(fitted), rpm, load, ratio)
      const truth: Record<string, number> = { idle: at(car.idleRpm, idleLoad) }
      for (const [state, [rpm, load]] of Object.entries(points)) truth[state] = at(rpm, load)
      return truth
    },
  }
}
