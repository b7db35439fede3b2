/*
 * Openings, patterns, stumbles and the transport delay on either engine: `tsx tests/bench/openings.ts simulator|second [count = 20] [first = 0]`.
 * Prints numbers; there is no pass or fail.
 */
import type { AnalysisResult } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { engineCase, makeRun } from './engineCases.ts'
import { scoreCase, trueOpenings } from './engineScore.ts'
import { drive, randomCar } from './second/engine.ts'
import { createRandom } from './second/random.ts'
import { delayOffS, IDLE_KPA, nearRightSetup, openingsOf, POWER_KPA, POWER_RPM } from './second/scoreRuns.ts'
import { emptyOpeningScore, printOpenings, scoreOpenings, type TrueOpening } from './transientScore.ts'

const [engine = 'simulator', countText = '20', firstText = '0'] = process.argv.slice(2)
const count = Number(countText)
const first = Number(firstText)

interface Scored {
  result: AnalysisResult
  openings: readonly TrueOpening[]
  idleS: number
  powerS: number
}

function fromSimulator(seed: number): Scored {
  const { bytes, truth } = makeRun(engineCase(seed))
  const { result } = analyseCapture(bytes)
  const { delayIdleS, delayPowerS } = scoreCase(result, truth)
  return {
    result,
    openings: trueOpenings(result, truth),
    idleS: delayIdleS,
    powerS: delayPowerS,
  }
}

function fromSecond(seed: number): Scored {
  const car = randomCar(seed)
  const r = createRandom(seed + 900)
  const setup = nearRightSetup(r)
  const weather = {
    temperatureC: r.between(2, 36),
    pressureKpa: r.between(94, 102),
    humidityPct: r.between(20, 90),
  }
  const { bytes, truth } = drive(car, setup, weather, seed, 900, '2026-03-01T09:00:00.000Z', {})
  const { result } = analyseCapture(bytes)
  return {
    result,
    openings: openingsOf(result, truth, weather.pressureKpa),
    idleS: delayOffS(result, car, car.idleRpm, IDLE_KPA),
    powerS: delayOffS(result, car, POWER_RPM, POWER_KPA),
  }
}

const withThrottle = emptyOpeningScore()
const withoutThrottle = emptyOpeningScore()
const idle: number[] = []
const power: number[] = []
for (let seed = first; seed < first + count; seed++) {
  const scored = engine === 'second' ? fromSecond(seed) : fromSimulator(seed)
  const hasThrottle = scored.result.channels_used.includes('throttle')
  scoreOpenings(hasThrottle ? withThrottle : withoutThrottle, scored.result, scored.openings)
  idle.push(1000 * scored.idleS)
  power.push(1000 * scored.powerS)
}
const spread = (values: readonly number[]) => {
  const sorted = values
    .filter((value) => !Number.isNaN(value))
    .map(Math.abs)
    .sort((a, b) => a - b)
  return [0.5, 0.75, 0.9].map((q) => sorted[Math.floor(q * (sorted.length - 1))]?.toFixed(0)).join(' ')
}
console.log(`${engine}: ${count} cars from ${first}; delay error, ms: 50, 75, 90 %`)
console.log(`  at idle ${spread(idle)} (median ≤ 40), at power ${spread(power)} (median ≤ 20)`)
printOpenings('with a throttle sensor', withThrottle)
printOpenings('without: by pressure', withoutThrottle)
