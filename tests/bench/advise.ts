/*
 * The closed loop: random cars with wrong set-ups, each day a drive in other weather, one swap a day as advised, until the advice says
 * done. Beside it one size at a time, and the bare area rule (area by λ measured ÷ target, no shares, no learning).
 *   tsx tests/bench/advise.ts [cars] [first seed]
 */
import type { Box, Fitted, Part } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { boxFor, drive, type RandomCar, randomAir, randomCar, trueLambda, wrongSetup } from './randomCars.ts'

const bands: Record<string, [number, number]> = {
  idle: [0.9, 1.0],
  cruise: [0.98, 1.06],
  part_throttle: [0.93, 1.01],
  power: [0.84, 0.89],
}
const targets: Record<string, number> = { idle: 0.95, cruise: 1.02, part_throttle: 0.97, power: 0.87 }
/** A true mean this little outside counts as inside: the drive itself moves it as much. */
const grace = 0.004
const mostDays = 14
const driveS = 900

const isOff = (state: string, lambda: number) =>
  lambda < bands[state][0] - grace || lambda > bands[state][1] + grace
const offStates = (truth: Record<string, number>) =>
  Object.keys(bands).filter((state) => truth[state] !== undefined && isOff(state, truth[state]))

interface Outcome {
  swaps: number
  done: boolean
  offAtEnd: string[]
  worst: number
  log: string[]
}
type Rule = (runs: RunAnalysis[], fitted: Fitted, box: Box) => { part: string; to: Part } | 'done' | 'drive'

const byAdvice: Rule = (runs, _fitted, box) => {
  const advice = advise(runs, box)
  if (advice.done) return 'done'
  return advice.next ? { part: advice.next.part, to: advice.next.to as Part } : 'drive'
}

const partOfState: Record<string, string> = {
  idle: 'idle_screws',
  cruise: 'main_jet',
  part_throttle: 'main_jet',
  power: 'power_restriction',
}
/** First state in the order of the trade whose measured λ is outside its band. */
function firstOff(run: RunAnalysis, box: Box): { state: string; lambda: number } | undefined {
  for (const state of ['idle', 'cruise', 'part_throttle', 'power'] as const) {
    const lambda = run.result.mixture[state]?.lambda_median
    if (lambda && box[partOfState[state]] && (lambda < bands[state][0] || lambda > bands[state][1])) {
      return { state, lambda }
    }
  }
  return undefined
}
const sizeOf = (part: Part) => part.turns ?? part.bore_mm ?? 0

const oneSize: Rule = (runs, fitted, box) => {
  const off = firstOff(runs[runs.length - 1], box)
  if (!off) return 'done'
  const part = partOfState[off.state]
  const isRich = off.lambda < targets[off.state]
  const sizes = [...box[part]].sort((a, b) => sizeOf(a) - sizeOf(b))
  const now = sizeOf(fitted[part])
  const to = isRich
    ? sizes.findLast((size) => sizeOf(size) < now - 1e-6)
    : sizes.find((size) => sizeOf(size) > now + 1e-6)
  return to ? { part, to } : 'done'
}

const bareArea: Rule = (runs, fitted, box) => {
  const off = firstOff(runs[runs.length - 1], box)
  if (!off) return 'done'
  const part = partOfState[off.state]
  const ratio = off.lambda / targets[off.state]
  const isTurns = fitted[part].turns !== undefined
  const wanted = sizeOf(fitted[part]) * (isTurns ? ratio : Math.sqrt(ratio))
  const others = box[part].filter((size) => Math.abs(sizeOf(size) - sizeOf(fitted[part])) > 1e-6)
  const to = others.reduce((a, b) => (Math.abs(sizeOf(b) - wanted) < Math.abs(sizeOf(a) - wanted) ? b : a))
  return { part, to }
}

function follow(random: RandomCar, start: Fitted, box: Box, seed: number, rule: Rule): Outcome {
  let fitted = start
  const runs: RunAnalysis[] = []
  const log: string[] = []
  let swaps = 0
  let done = false
  for (let day = 0; day < mostDays && !done; day++) {
    runs.push(drive(random, fitted, randomAir(seed * 50 + day), seed * 50 + day, driveS, day))
    const step = rule(runs, fitted, box)
    if (step === 'done') done = true
    else if (step === 'drive') log.push('drive')
    else {
      log.push(`${step.part} ${sizeOf(fitted[step.part])}→${sizeOf(step.to)}`)
      fitted = { ...fitted, [step.part]: step.to }
      swaps++
    }
  }
  const truth = trueLambda(random, fitted, seed + 7)
  const offAtEnd = offStates(truth).map((state) => `${state} ${truth[state].toFixed(3)}`)
  const worst = Math.max(
    ...Object.keys(bands).map((state) =>
      truth[state] === undefined ? 0 : Math.abs(truth[state] - targets[state]),
    ),
  )
  return { swaps, done, offAtEnd, worst, log }
}

const quantile = (values: readonly number[], q: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? Number.NaN
const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length

const [count = '10', first = '0'] = process.argv.slice(2)
const rules: [string, Rule][] = [
  ['advice', byAdvice],
  ['one size at a time', oneSize],
  ['bare area rule', bareArea],
]
const outcomes = new Map<string, Outcome[]>(rules.map(([name]) => [name, []]))
let wrong = 0
for (let seed = Number(first); seed < Number(first) + Number(count); seed++) {
  const random = randomCar(seed)
  const box = boxFor(random.car)
  const start = wrongSetup(random.car, box, seed)
  const truth = trueLambda(random, start, seed + 7)
  const off = offStates(truth)
  wrong += off.length
  for (const [name, rule] of rules) {
    const outcome = follow(random, start, box, seed, rule)
    outcomes.get(name)!.push(outcome)
    if (
      name === 'advice' &&
      (outcome.offAtEnd.length > 0 || !outcome.done || outcome.swaps > off.length + 1)
    ) {
      console.log(
        `  ${random.car.name} ${seed}: ${off.map((state) => `${state} ${truth[state].toFixed(3)}`).join(' ') || 'fine'} | ${outcome.log.join(', ')} | ${outcome.done ? 'done' : 'not done'} | still off: ${outcome.offAtEnd.join(' ') || 'none'}`,
      )
    }
  }
}
console.log(`\n${count} cars, ${wrong} states off at the start`)
console.log(
  'rule                 swaps  per wrong  median  95 %  most  not done  still off  worst |error| median',
)
for (const [name, list] of outcomes) {
  const swaps = list.map((entry) => entry.swaps)
  const total = swaps.reduce((sum, value) => sum + value, 0)
  console.log(
    [
      name.padEnd(20),
      mean(swaps).toFixed(2).padStart(5),
      (total / Math.max(1, wrong)).toFixed(2).padStart(10),
      String(quantile(swaps, 0.5)).padStart(7),
      String(quantile(swaps, 0.95)).padStart(5),
      String(Math.max(...swaps)).padStart(5),
      String(list.filter((entry) => !entry.done).length).padStart(9),
      String(list.filter((entry) => entry.offAtEnd.length > 0).length).padStart(10),
      quantile(
        list.map((entry) => entry.worst),
        0.5,
      )
        .toFixed(3)
        .padStart(10),
    ].join(' '),
  )
}
