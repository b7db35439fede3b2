import type { Fitted } from '../core/contract/car.ts'
import { rightSetup } from './cars/commonSetups.ts'
import { roadFigures } from './cars/roadFigures.ts'
import { expectedLambda } from './expectedLambda.ts'
import { createRandom } from './random.ts'
import { partsOf } from './randomParts.ts'
import { carParameters, randomShape } from './randomShape.ts'
import type { Setup, SimCar } from './simCar.ts'
import { aimedLambda } from './steadyPoint.ts'

/**
 * An invented car from a number: engine, carburettor, gearing, exhaust, parts and a box, its right parts on target. As its
 * maker would, it takes the enrichment valve that puts part throttle nearest to its target.
 */
export function randomCar(seed: number): SimCar {
  const car = draftCar(seed)
  const part = car.right.rod_spring ? 'rod_spring' : 'power_valve'
  const valves = car.box[part]
  const start = valves.findIndex((item) => item.label === car.right[part].label)
  let best = car
  let bestError = Number.POSITIVE_INFINITY
  let index = start
  for (let attempt = 0; attempt < 4; attempt++) {
    const candidate: SimCar = { ...car, right: { ...car.right, [part]: valves[index] } }
    const error =
      expectedLambda(candidate, candidate.right, 'part_throttle').lambda - aimedLambda.part_throttle
    if (Math.abs(error) < bestError) {
      bestError = Math.abs(error)
      best = candidate
    } else break
    index += error > 0 ? 1 : -1
    if (Math.abs(error) < 0.015 || index < 0 || index >= valves.length) break
  }
  return { ...best, setups: { ...best.setups, wrong: randomSetup(seed, best) } }
}

function draftCar(seed: number): SimCar {
  const random = createRandom(seed, 'car')
  const shape = randomShape(random)
  const parameters = carParameters(shape, random)
  const { right, box } = partsOf(shape, parameters, random)
  const name = `random_${seed}`
  const barrels = shape.primaries + shape.secondaries
  return {
    name,
    profile: {
      id: name,
      description: `invented car ${seed}: ${shape.displacementL} l, ${shape.cylinders} cylinders, ${barrels} barrels, ${shape.automatic ? 'automatic' : 'manual'}`,
      engine: {
        displacement_l: shape.displacementL,
        cylinders: shape.cylinders,
        thermostat_C: parameters['engine.thermostat_C'],
      },
      metering: 'carburettor',
      barrels,
      sensor: { curve: 'planar49', bank_names: ['left', 'right'] },
      fuel: { id: 'gasoline_e0' },
      ...roadFigures(parameters),
    },
    parameters,
    right,
    box,
    setups: { right: rightSetup },
  }
}

/** One to three circuits wrong by two to six sizes (jets), screws by a quarter to a whole turn. */
export function randomSetup(seed: number, car: SimCar): Setup {
  const random = createRandom(seed, `setup ${car.name}`)
  const circuits: [string, string, number][] = [
    ['main', 'main_jet', 6],
    ['power', car.right.rod ? 'rod' : 'power_restriction', car.right.rod ? 3 : 4],
    ['idle', 'idle_screws', 5],
  ]
  if (car.right.secondary_jet) circuits.push(['secondary', 'secondary_jet', 7])
  const wrongCount = random.pick([1, 1, 2, 2, 3])
  const fitted: Fitted = {}
  const wrong: string[] = []
  while (wrong.length < Math.min(wrongCount, circuits.length)) {
    const [circuit, part, most] = random.pick(circuits)
    if (wrong.includes(circuit)) continue
    const parts = car.box[part]
    const rightIndex = parts.findIndex((item) => item.label === car.right[part].label)
    const away = random.integer(2, most) * (random.uniform() < 0.5 ? -1 : 1)
    let index: number
    if (part === 'rod') {
      // Of the rods, the power step alone.
      const powerIndex = rightIndex % 7
      index = rightIndex - powerIndex + Math.min(Math.max(powerIndex + away, 0), 6)
    } else index = Math.min(Math.max(rightIndex + away, 0), parts.length - 1)
    if (index === rightIndex) continue
    fitted[part] = parts[index]
    wrong.push(circuit)
  }
  return { text: `wrong: ${wrong.join(', ')}`, fitted, wrong }
}
