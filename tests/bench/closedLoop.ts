import type { Box, Fitted, Part } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type AdviseOptions, advise } from '../../core/tuning/advise.ts'

/*
 * The closed loop, whatever engine drives: one drive a day in other weather, one swap a day as a rule says, until the rule says done.
 * Rules: the advice, one size at a time, and the bare area rule (area by λ measured ÷ target; no shares, no learning).
 */

/** A car with a wrong set-up, and how it is driven. */
export interface LoopCar {
  name: string
  seed: number
  start: Fitted
  box: Box
  options?: AdviseOptions
  /** A drive of so many s on the n-th day with these parts, analysed. */
  driveDay(fitted: Fitted, day: number): RunAnalysis
  /** True λ of each state at reference air, noise-free. */
  trueLambda(fitted: Fitted): Record<string, number>
}

/** What a loop came to; one line of output each, so that parts of a long run can be put together. */
export interface LoopRow {
  engine: string
  seed: number
  name: string
  rule: string
  /** States off at the start. */
  wrong: string[]
  swaps: number
  days: number
  done: boolean
  /** States off at the end, and the largest distance outside a band, λ. */
  off: string[]
  outside: number
  /** Largest distance from a target at the end, λ. */
  worst: number
  log: string
}

export const bands: Readonly<Record<string, readonly [number, number]>> = {
  idle: [0.9, 1.0],
  cruise: [0.98, 1.06],
  part_throttle: [0.93, 1.01],
  power: [0.84, 0.89],
}
const targets: Readonly<Record<string, number>> = {
  idle: 0.95,
  cruise: 1.02,
  part_throttle: 0.97,
  power: 0.87,
}
/** A true mean this little outside counts as inside: what a drive over other roads moves it by. */
const grace = 0.004
const mostDays = 14

type Step = { part: string; to: Part } | 'done' | 'drive'
type Rule = (runs: readonly RunAnalysis[], fitted: Fitted, car: LoopCar) => Step

const byAdvice: Rule = (runs, _fitted, { box, options }) => {
  const advice = advise(runs, box, options)
  if (advice.done) return 'done'
  return advice.next ? { part: advice.next.part, to: advice.next.to as Part } : 'drive'
}

const partOfState: Readonly<Record<string, string>> = {
  idle: 'idle_screws',
  cruise: 'main_jet',
  part_throttle: 'main_jet',
  power: 'power_restriction',
}

/** First state in the order of the trade whose measured λ is outside its band and whose part is in the box. */
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

const oneSize: Rule = (runs, fitted, { box }) => {
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

const bareArea: Rule = (runs, fitted, { box }) => {
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

export const rules: Readonly<Record<string, Rule>> = {
  advice: byAdvice,
  'one size at a time': oneSize,
  'bare area rule': bareArea,
}

const outsideOf = (state: string, lambda: number) =>
  Math.max(0, bands[state][0] - lambda, lambda - bands[state][1])

/** States whose true λ is outside the band, with it. */
export function offStates(truth: Readonly<Record<string, number>>): string[] {
  return Object.keys(bands)
    .filter((state) => truth[state] !== undefined && outsideOf(state, truth[state]) > grace)
    .map((state) => `${state} ${truth[state].toFixed(3)}`)
}

/** Follows one rule from a wrong set-up until it says done. */
export function follow(engine: string, car: LoopCar, ruleName: string): LoopRow {
  let fitted = car.start
  const runs: RunAnalysis[] = []
  const log: string[] = []
  let swaps = 0
  let done = false
  for (let day = 0; day < mostDays && !done; day++) {
    runs.push(car.driveDay(fitted, day))
    const step = rules[ruleName](runs, fitted, car)
    if (step === 'done') done = true
    else if (step === 'drive') log.push('drive')
    else {
      log.push(`${step.part} ${sizeOf(fitted[step.part])}→${sizeOf(step.to)}`)
      fitted = { ...fitted, [step.part]: step.to }
      swaps++
    }
  }
  const truth = car.trueLambda(fitted)
  const seen = Object.keys(bands).filter((state) => truth[state] !== undefined)
  return {
    engine,
    seed: car.seed,
    name: car.name,
    rule: ruleName,
    wrong: offStates(car.trueLambda(car.start)),
    swaps,
    days: runs.length,
    done,
    off: offStates(truth),
    outside: Math.max(...seen.map((state) => outsideOf(state, truth[state]))),
    worst: Math.max(...seen.map((state) => Math.abs(truth[state] - targets[state]))),
    log: log.join(', '),
  }
}

const circuitOfState: Readonly<Record<string, string>> = { cruise: 'main', part_throttle: 'main' }
/** Circuits off at the start: cruise and part throttle are both the main circuit's. */
const wrongCircuits = (row: LoopRow) =>
  new Set(row.wrong.map((text) => text.split(' ')[0]).map((state) => circuitOfState[state] ?? state)).size

const quantile = (values: readonly number[], q: number) =>
  [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(q * values.length))] ?? Number.NaN
const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length

/** The rows as a table for each engine, with the cars worth a look below it. */
export function printTable(rows: readonly LoopRow[]): void {
  for (const engine of new Set(rows.map((row) => row.engine))) {
    const mine = rows.filter((row) => row.engine === engine)
    console.log(
      `\n${engine}\nrule                 cars  wrong  swaps  per state  per circuit  median  95 %  most  not done  done while off  |error| median  95 %`,
    )
    for (const rule of new Set(mine.map((row) => row.rule))) {
      const list = mine.filter((row) => row.rule === rule)
      const swaps = list.map((row) => row.swaps)
      const wrong = list.reduce((sum, row) => sum + row.wrong.length, 0)
      const circuits = list.reduce((sum, row) => sum + wrongCircuits(row), 0)
      const total = swaps.reduce((sum, value) => sum + value, 0)
      const worst = list.map((row) => row.worst)
      const cells: [string | number, number][] = [
        [list.length, 4],
        [wrong, 6],
        [mean(swaps).toFixed(2), 6],
        [(total / Math.max(1, wrong)).toFixed(2), 10],
        [(total / Math.max(1, circuits)).toFixed(2), 12],
        [quantile(swaps, 0.5), 7],
        [quantile(swaps, 0.95), 5],
        [Math.max(...swaps), 5],
        [list.filter((row) => !row.done).length, 9],
        [list.filter((row) => row.done && row.off.length > 0).length, 15],
        [quantile(worst, 0.5).toFixed(3), 15],
        [quantile(worst, 0.95).toFixed(3), 5],
      ]
      console.log(rule.padEnd(20), cells.map(([value, width]) => String(value).padStart(width)).join(' '))
    }
    if (!mine.some((row) => row.rule === 'advice')) continue
    const spread = new Map<number, number>()
    for (const row of mine) {
      if (row.rule === 'advice') spread.set(row.swaps, (spread.get(row.swaps) ?? 0) + 1)
    }
    const shares = [...spread].sort((a, b) => a[0] - b[0]).map(([swaps, cars]) => `${swaps}: ${cars}`)
    console.log(`cars by number of advised swaps: ${shares.join('  ')}`)
    const fine = mine.filter((row) => row.rule === 'advice' && row.wrong.length === 0)
    const needless = fine.reduce((sum, row) => sum + row.swaps, 0)
    const days = mine.filter((row) => row.rule === 'advice').map((row) => row.days)
    console.log(
      `cars with nothing wrong: ${fine.length}, swaps on them: ${needless}; days: ${mean(days).toFixed(1)} a car`,
    )
    for (const row of mine) {
      const isFine = row.done && row.off.length === 0 && row.swaps <= Math.max(2, row.wrong.length + 1)
      if (row.rule === 'advice' && !isFine) console.log(`  ${rowText(row)}`)
    }
  }
}

/** One car's loop in a line. */
export function rowText(row: LoopRow): string {
  return `${row.name} ${row.seed}: ${row.wrong.join(' ') || 'fine'} | ${row.log || 'nothing'} | ${row.done ? 'done' : 'not done'}, still off: ${row.off.join(' ') || 'none'}`
}
