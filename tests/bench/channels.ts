/*
 * States, λ, delay and openings on boards that all lack the same channels: `tsx tests/bench/channels.ts simulator|second no_pressure|no_throttle|usual
 * [count = 14] [first = 0]`. Prints numbers; there is no pass or fail.
 */
import type { AnalysisResult } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { engineCase, makeRun } from './engineCases.ts'
import { scoreCase, trueOpenings } from './engineScore.ts'
import { channelSets, drive, randomCar } from './second/engine.ts'
import { createRandom } from './second/random.ts'
import { realised, scoreStates } from './second/scoreAnalysis.ts'
import {
  delayOffS,
  IDLE_KPA,
  nearRightSetup,
  openingsOf,
  POWER_KPA,
  POWER_RPM,
  quantile,
  randomWeather,
  states,
} from './second/scoreRuns.ts'
import { emptyOpeningScore, printOpenings, scoreOpenings, type TrueOpening } from './transientScore.ts'

const [engine = 'simulator', set = 'no_pressure', countText = '14', firstText = '0'] = process.argv.slice(2)

interface Scored {
  result: AnalysisResult
  agreement: number
  errors: number[]
  openings: readonly TrueOpening[]
  delayIdleS: number
  delayPowerS: number
  worst: string
}

function fromSimulator(seed: number): Scored {
  const { bytes, truth } = makeRun({ ...engineCase(seed), channels: set, drive: 'traffic', seconds: 720 })
  const { result } = analyseCapture(bytes)
  const { agreement, lambda, worstStates, delayIdleS, delayPowerS } = scoreCase(result, truth)
  return {
    result,
    agreement,
    worst: worstStates,
    errors: lambda.filter(({ state }) => state !== 'warm_up').map(({ error }) => Math.abs(error)),
    openings: trueOpenings(result, truth),
    delayIdleS,
    delayPowerS,
  }
}

function fromSecond(seed: number): Scored {
  const channels = channelSets.find((one) => one === set)
  if (!channels) throw new Error(`the second engine's boards are ${channelSets.join(', ')}`)
  const setup = nearRightSetup(createRandom(seed + 900))
  const weather = randomWeather(seed)
  const start = '2026-03-01T09:00:00.000Z'
  const car = { ...randomCar(seed), channels }
  const { bytes, truth } = drive(car, setup, weather, seed, 900, start, {})
  const { result } = analyseCapture(bytes)
  const errors: number[] = []
  for (const state of states) {
    const told = result.mixture[state]?.lambda_median
    const right = realised(truth, state, truth.lambda)
    if (told != null && !Number.isNaN(right)) errors.push(Math.abs(told - right))
  }
  const { agreement, worst } = scoreStates(result.states, truth)
  return {
    result,
    agreement,
    worst,
    errors,
    openings: openingsOf(result, truth, weather.pressureKpa),
    delayIdleS: delayOffS(result, car, car.idleRpm, IDLE_KPA),
    delayPowerS: delayOffS(result, car, POWER_RPM, POWER_KPA),
  }
}

const agreements: number[] = []
const errors: number[] = []
const openings = emptyOpeningScore()
const delaysIdleMs: number[] = []
const delaysPowerMs: number[] = []
const first = Number(firstText)
for (let seed = first; seed < first + Number(countText); seed++) {
  const scored = engine === 'second' ? fromSecond(seed) : fromSimulator(seed)
  agreements.push(scored.agreement)
  errors.push(...scored.errors)
  scoreOpenings(openings, scored.result, scored.openings)
  delaysIdleMs.push(1000 * Math.abs(scored.delayIdleS))
  delaysPowerMs.push(1000 * Math.abs(scored.delayPowerS))
  const { throttle_need: need, throttle_need_stretches: stretches } = scored.result.run.learned ?? {}
  const learned = need === undefined ? '' : `; throttle need ${need.toFixed(2)} from ${stretches} stretches`
  console.log(`  ${seed}: states ${scored.agreement.toFixed(3)}${learned}; ${scored.worst}`)
}
const mean = agreements.reduce((a, b) => a + b, 0) / agreements.length
console.log(`${engine}, ${set}: ${agreements.length} cars from ${first}`)
console.log(`  states right: mean ${mean.toFixed(3)}, least ${Math.min(...agreements).toFixed(3)} (≥ 0.97)`)
console.log(
  `  λ of the states: median ${quantile(errors, 0.5).toFixed(4)} (≤ 0.005), 95 % ${quantile(errors, 0.95).toFixed(4)} (≤ 0.015)`,
)
const delayWords = (offMs: number[]) =>
  `${quantile(offMs, 0.5).toFixed(0)}, 90 %: ${quantile(offMs, 0.9).toFixed(0)}`
console.log(
  `  delay off by, ms, median: at idle ${delayWords(delaysIdleMs)} (≤ 40), at power ${delayWords(delaysPowerMs)} (≤ 20)`,
)
printOpenings('tip-ins', openings)
