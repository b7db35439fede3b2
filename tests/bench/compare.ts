/*
 * How often comparing two runs is right: the same random car on two days of other weather with nothing changed, and with its main jet
 * one and two sizes away.
 *   tsx tests/bench/compare.ts [cars] [first seed]
 */
import type { Fitted } from '../../core/contract/car.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { boxFor, drive, randomAir, randomCar } from './randomCars.ts'

const driveS = 600
const [count = '10', first = '0'] = process.argv.slice(2)
let quiet = 0
let statesTold = 0
let statesQuiet = 0
const found = [0, 0]
const wrongWay = [0, 0]
for (let seed = Number(first); seed < Number(first) + Number(count); seed++) {
  const random = randomCar(seed)
  const { right } = random.car
  const sizes = boxFor(random.car).main_jet
  const middle = (sizes.length - 1) / 2
  const a = drive(random, right, randomAir(3 * seed), 3 * seed, driveS, 0)
  const same = compareRuns(a, drive(random, right, randomAir(3 * seed + 1), 3 * seed + 1, driveS, 1))
  if (same.verdict === 'no_difference') quiet++
  else console.log(`  ${random.car.name} ${seed} unchanged: ${same.text}`)
  for (const { verdict } of Object.values(same.states)) {
    if (verdict === 'not_enough_data') continue
    statesTold++
    if (verdict === 'no_difference') statesQuiet++
  }
  for (const steps of [1, 2]) {
    const side = seed % 2 ? 1 : -1
    const fitted: Fitted = { ...right, main_jet: sizes[middle + side * steps] }
    const air = randomAir(3 * seed + 2)
    const comparison = compareRuns(a, drive(random, fitted, air, 3 * seed + 2, driveS, 1))
    const wanted = side > 0 ? 'richer' : 'leaner'
    if (comparison.verdict === wanted || comparison.verdict === 'mixed') found[steps - 1]++
    else if (comparison.verdict !== 'no_difference') wrongWay[steps - 1]++
  }
}
const percent = (value: number, of: number) => `${((100 * value) / Math.max(1, of)).toFixed(1)} %`
console.log(`${count} cars, drives of ${driveS} s`)
console.log(
  `unchanged told no_difference   ${percent(quiet, Number(count))}, of single states ${percent(statesQuiet, statesTold)}`,
)
console.log(
  `main jet one size away found   ${percent(found[0], Number(count))}, the wrong way ${wrongWay[0]}`,
)
console.log(
  `main jet two sizes away found  ${percent(found[1], Number(count))}, the wrong way ${wrongWay[1]}`,
)
