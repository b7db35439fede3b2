import type { Fitted } from '../../../core/contract/car.ts'
import type { RunAnalysis } from '../../../core/contract/result.ts'
import { advise } from '../../../core/tuning/advise.ts'
import { density, randomCar, referenceWeather, rightSetup, type SecondCar, steadyLambda } from './engine.ts'
import { createRandom } from './random.ts'
import { box, fittedOf, quantile, randomWeather, run, setupOf, show, states } from './scoreRuns.ts'

const bands: Record<string, [number, number]> = {
  idle: [0.9, 1.0],
  cruise: [0.98, 1.06],
  part_throttle: [0.93, 1.01],
  power: [0.84, 0.89],
}

function trueStates(car: SecondCar, fitted: Fitted): Record<string, number> {
  const at = (rpm: number, load: number) =>
    steadyLambda(car, setupOf(fitted), rpm, load, density(referenceWeather) / density(referenceWeather))
  return {
    idle: at(car.idleRpm, 0.34),
    cruise: at(2200, 0.45),
    part_throttle: at(2200, 0.68),
    power: at(2600, 0.96),
  }
}

/** The closed loop of advice: swaps until every state is in its band. */
export function scoreAdvice(cars: number, first = 0): void {
  let swapsAll = 0
  let wrongAll = 0
  const totals: number[] = []
  let finalBad = 0
  let notDone = 0
  for (let seed = first; seed < first + cars; seed++) {
    const car = randomCar(seed)
    const r = createRandom(seed + 4000)
    let fitted = fittedOf({
      mainMm: rightSetup.mainMm * r.between(0.9, 1.1),
      powerMm: rightSetup.powerMm * r.between(0.86, 1.14),
      secondaryMm: rightSetup.secondaryMm,
      turns: r.between(0.9, 2.6),
    })
    const start = trueStates(car, fitted)
    const off = (s: string, l: number) => l < bands[s][0] - 0.003 || l > bands[s][1] + 0.003
    const wrong = states.filter((s) => off(s, start[s])).length
    const runs: RunAnalysis[] = []
    let swaps = 0
    let done = false
    const log: string[] = []
    for (let d = 0; d < 12 && !done; d++) {
      runs.push(run(car, fitted, randomWeather(seed * 20 + d), seed * 20 + d, 900, d).analysis)
      const advice = advise(runs, box, {})
      done = advice.done
      if (done) break
      if (!advice.next) {
        log.push(`day ${d}: needs ${JSON.stringify(advice.needs?.map((x) => x.state))}`)
        continue
      }
      fitted = { ...fitted, [advice.next.part]: { ...advice.next.to } as Fitted[string] }
      swaps++
      log.push(`${advice.next.part} ${advice.next.from.label}→${advice.next.to.label}`)
    }
    const final = trueStates(car, fitted)
    const bad = states.filter((s) => off(s, final[s]))
    if (bad.length > 0) finalBad++
    if (!done) notDone++
    swapsAll += swaps
    wrongAll += wrong
    totals.push(swaps)
    if (bad.length > 0 || !done || swaps > 4) {
      const f = (x: Record<string, number>) => states.map((s) => x[s].toFixed(3)).join(' ')
      console.log(
        `  seed ${seed}: ${wrong} wrong, ${swaps} swaps, ${done ? 'done' : 'NOT done'}, ${f(start)} → ${f(final)} | ${log.join(', ')}`,
      )
    }
  }
  show('swaps for each state that was wrong (mean)', (swapsAll / Math.max(1, wrongAll)).toFixed(2))
  show(
    'swaps in all: median, 95 %, most',
    `${quantile(totals, 0.5)} ${quantile(totals, 0.95)} ${Math.max(...totals)}`,
  )
  show('cars not done / with a true state out of band', `${notDone} / ${finalBad} of ${cars}`)
}
