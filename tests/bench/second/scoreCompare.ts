import { compareRuns } from '../../../core/tuning/compareRuns.ts'
import { randomCar, rightSetup } from './engine.ts'
import { fittedOf, randomWeather, run, show } from './scoreRuns.ts'

/** Pairs of drives with nothing changed, and with one jet changed. */
export function scoreCompare(cars: number, first = 0): void {
  let quiet = 0
  let quietStates = 0
  let statesTold = 0
  let found = 0
  let cruiseFound = 0
  for (let seed = first; seed < first + cars; seed++) {
    const car = randomCar(seed)
    const a = run(car, fittedOf(rightSetup), randomWeather(seed), seed, 600, 0).analysis
    const same = run(car, fittedOf(rightSetup), randomWeather(seed + 500), seed + 500, 600, 1).analysis
    const other = run(
      car,
      fittedOf({ ...rightSetup, mainMm: 1.85 + (seed % 2 ? 0.03 : -0.03) * 2 }),
      randomWeather(seed + 700),
      seed + 700,
      600,
      1,
    ).analysis
    const unchanged = compareRuns(a, same, {})
    if (unchanged.verdict === 'no_difference') quiet++
    for (const s of Object.values(unchanged.states)) {
      if (!s || s.verdict === 'not_enough_data') continue
      statesTold++
      if (s.verdict === 'no_difference') quietStates++
    }
    const changed = compareRuns(a, other, {})
    const wanted = seed % 2 ? 'richer' : 'leaner'
    if (changed.verdict === wanted || changed.verdict === 'mixed') found++
    if (changed.states.cruise?.verdict === wanted) cruiseFound++
  }
  show(
    'unchanged pairs told no_difference (≥ 95 %)',
    `${((100 * quiet) / cars).toFixed(0)} %; states ${((100 * quietStates) / statesTold).toFixed(1)} %`,
  )
  show(
    'main jet changed by 6 % of area: found (≥ 95 %)',
    `${((100 * found) / cars).toFixed(0)} %; in cruise ${((100 * cruiseFound) / cars).toFixed(0)} %`,
  )
}
