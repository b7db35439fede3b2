/*
 * Scores the whole chain on the second engine: analysis, comparison and the closed loop of advice.
 *   tsx tests/bench/second/score.ts [analyse|compare|advise] [cars]
 */
import type { Box, Fitted } from '../../../core/contract/car.ts'
import type { MixtureState, RunAnalysis } from '../../../core/contract/result.ts'
import { analyseCapture } from '../../../core/pipeline/analyseCapture.ts'
import { advise } from '../../../core/tuning/advise.ts'
import { compareRuns } from '../../../core/tuning/compareRuns.ts'
import {
  density,
  drive,
  randomCar,
  referenceWeather,
  rightSetup,
  type SecondCar,
  type SecondTruth,
  type Setup,
  steadyLambda,
  type Weather,
} from './engine.ts'
import { createRandom } from './random.ts'

const states: MixtureState[] = ['idle', 'cruise', 'part_throttle', 'power']
const bands: Record<string, [number, number]> = {
  idle: [0.9, 1.0],
  cruise: [0.98, 1.06],
  part_throttle: [0.93, 1.01],
  power: [0.84, 0.89],
}

const sizes = (from: number, to: number, step: number) => {
  const out: { label: string; bore_mm: number }[] = []
  for (let mm = from; mm < to + step / 2; mm += step)
    out.push({ label: String(Math.round(mm * 100)), bore_mm: Number(mm.toFixed(3)) })
  return out
}
const box: Box = {
  main_jet: sizes(1.55, 2.2, 0.03),
  power_restriction: sizes(1.1, 1.75, 0.05),
  secondary_jet: sizes(1.65, 2.3, 0.05),
  idle_screws: Array.from({ length: 15 }, (_, i) => ({
    label: (0.5 + i * 0.25).toFixed(2),
    turns: 0.5 + i * 0.25,
  })),
}
const partOf = (list: readonly { label: string; bore_mm?: number; turns?: number }[], value: number) =>
  list.reduce((a, b) =>
    Math.abs((b.bore_mm ?? b.turns ?? 0) - value) < Math.abs((a.bore_mm ?? a.turns ?? 0) - value) ? b : a,
  )
const fittedOf = (s: Setup): Fitted => ({
  main_jet: partOf(box.main_jet, s.mainMm),
  power_restriction: partOf(box.power_restriction, s.powerMm),
  secondary_jet: partOf(box.secondary_jet, s.secondaryMm),
  idle_screws: partOf(box.idle_screws, s.turns),
})
const setupOf = (f: Fitted): Setup => ({
  mainMm: f.main_jet.bore_mm ?? Number.NaN,
  powerMm: f.power_restriction.bore_mm ?? Number.NaN,
  secondaryMm: f.secondary_jet.bore_mm ?? Number.NaN,
  turns: f.idle_screws.turns ?? Number.NaN,
})
const randomWeather = (seed: number): Weather => {
  const r = createRandom(seed * 13 + 5)
  return { temperatureC: r.between(2, 36), pressureKpa: r.between(94, 102), humidityPct: r.between(20, 90) }
}
const quantile = (values: number[], q: number) => {
  const sorted = values.filter((v) => !Number.isNaN(v)).sort((a, b) => a - b)
  return sorted.length === 0 ? Number.NaN : sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]
}
const day = (i: number) => new Date(Date.UTC(2026, 2, 1 + i, 9)).toISOString()
const show = (name: string, value: unknown) => console.log(`${name.padEnd(52)} ${value}`)

function run(
  car: SecondCar,
  fitted: Fitted,
  weather: Weather,
  seed: number,
  seconds: number,
  dayNumber: number,
): { analysis: RunAnalysis; truth: SecondTruth } {
  const { bytes, truth } = drive(car, setupOf(fitted), weather, seed, seconds, day(dayNumber), fitted)
  return { analysis: analyseCapture(bytes), truth }
}

/** Mean of the true λ over the steady time truly spent in the state. */
function realised(truth: SecondTruth, state: string, column: Float64Array): number {
  let sum = 0
  let count = 0
  for (let i = 0; i < column.length; i++) {
    if (truth.state[i] !== state || !truth.steady[i] || Number.isNaN(column[i])) continue
    sum += column[i]
    count++
  }
  return count < 400 ? Number.NaN : sum / count
}

function scoreAnalysis(cars: number): void {
  const errors: Record<string, number[]> = {}
  let inside = 0
  let insideBase = 0
  let intervals = 0
  const delayIdle: number[] = []
  const delayPower: number[] = []
  const agreement: number[] = []
  let hits = 0
  let events = 0
  let found = 0
  const notes: string[] = []
  for (let seed = 0; seed < cars; seed++) {
    const car = randomCar(seed)
    const r = createRandom(seed + 900)
    const setup: Setup = {
      ...rightSetup,
      mainMm: rightSetup.mainMm * r.between(0.94, 1.06),
      powerMm: rightSetup.powerMm * r.between(0.9, 1.1),
      turns: r.between(1, 2.2),
    }
    const { analysis, truth } = run(car, fittedOf(setup), randomWeather(seed), seed, 900, 0)
    const { result } = analysis
    for (const state of states) {
      const m = result.mixture[state]
      const true_ = realised(truth, state, truth.lambda)
      const base = realised(truth, state, truth.lambdaBase)
      if (m?.lambda_median == null || Number.isNaN(true_)) continue
      errors[state] = errors[state] ?? []
      errors[state].push(Math.abs(m.lambda_median - true_))
      if (Math.abs(m.lambda_median - true_) > 0.03)
        notes.push(
          `seed ${seed} ${state}: ${m.lambda_median.toFixed(3)} true ${true_.toFixed(3)} (${m.seconds.toFixed(0)} s)`,
        )
      if (!m.ci95) continue
      intervals++
      if (m.ci95[0] <= true_ && true_ <= m.ci95[1]) inside++
      if (m.ci95[0] <= base && base <= m.ci95[1]) insideBase++
    }
    const delayAt = (rpm: number, kPa: number) => result.delay.a_s + result.delay.b_s_rpm_kPa / (rpm * kPa)
    const trueDelay = (rpm: number, kPa: number) =>
      car.delayA + car.delayB / (rpm * kPa) + (car.lagUpS + car.lagDownS) / 2
    delayIdle.push(Math.abs(delayAt(car.idleRpm, 33) - trueDelay(car.idleRpm, 33)))
    delayPower.push(Math.abs(delayAt(3000, 95) - trueDelay(3000, 95)))
    agreement.push(stateAgreement(result.states, truth))
    const tips = result.transients.filter((t) => t.kind === 'tip_in')
    events += truth.tipIns.length
    found += tips.length
    hits += truth.tipIns.filter((t) => tips.some((x) => Math.abs(x.start_s - t.startS) < 0.5)).length
    if (Math.abs(truth.tipIns.length - tips.length) > 6)
      notes.push(`seed ${seed}: ${tips.length} tip-ins, true ${truth.tipIns.length}`)
  }
  for (const state of states)
    show(
      `λ ${state}: median, 95 % of error (${errors[state]?.length ?? 0})`,
      `${quantile(errors[state] ?? [], 0.5).toFixed(4)}  ${quantile(errors[state] ?? [], 0.95).toFixed(4)}`,
    )
  const all = states.flatMap((s) => errors[s] ?? [])
  show(
    'λ all: median (≤ 0.005), 95 % (≤ 0.015)',
    `${quantile(all, 0.5).toFixed(4)}  ${quantile(all, 0.95).toFixed(4)}`,
  )
  show(
    'intervals holding the realised mean (92 … 98 %)',
    `${((100 * inside) / intervals).toFixed(1)} % of ${intervals}`,
  )
  show('intervals holding the mean without wander', `${((100 * insideBase) / intervals).toFixed(1)} %`)
  show(
    'delay at idle, median error (≤ 40 ms)',
    `${(1000 * quantile(delayIdle, 0.5)).toFixed(0)} ms, 90 %: ${(1000 * quantile(delayIdle, 0.9)).toFixed(0)}`,
  )
  show(
    'delay at power, median error (≤ 20 ms)',
    `${(1000 * quantile(delayPower, 0.5)).toFixed(0)} ms, 90 %: ${(1000 * quantile(delayPower, 0.9)).toFixed(0)}`,
  )
  show(
    'state agreement: mean, least (≥ 0.97)',
    `${(agreement.reduce((a, b) => a + b, 0) / agreement.length).toFixed(3)}  ${Math.min(...agreement).toFixed(3)}`,
  )
  show('tip-ins: recall', (hits / events).toFixed(3))
  show('tip-ins: found per true', (found / events).toFixed(3))
  for (const note of notes.slice(0, 12)) console.log(`  ${note}`)
}

/** Share of the time in which the told state is the true one; edges within 0.3 s and transients are excused. */
function stateAgreement(
  spans: { state: string; start_s: number; end_s: number }[],
  truth: SecondTruth,
): number {
  let right = 0
  let counted = 0
  let k = 0
  const n = truth.timeS.length
  const edge = 60
  for (let i = edge; i < n - edge; i += 4) {
    const t = truth.timeS[i]
    while (k < spans.length - 1 && spans[k].end_s <= t) k++
    const told = spans[k]?.state
    if (!told || told.startsWith('tip_')) continue
    if (truth.state[i - edge] !== truth.state[i] || truth.state[i + edge] !== truth.state[i]) continue
    counted++
    if (told === truth.state[i]) right++
  }
  return right / counted
}

function scoreCompare(cars: number): void {
  let quiet = 0
  let quietStates = 0
  let statesTold = 0
  let found = 0
  let cruiseFound = 0
  for (let seed = 0; seed < cars; seed++) {
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

function scoreAdvice(cars: number): void {
  let swapsAll = 0
  let wrongAll = 0
  const totals: number[] = []
  let finalBad = 0
  let notDone = 0
  for (let seed = 0; seed < cars; seed++) {
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

const [what = 'all', cars = '20'] = process.argv.slice(2)
if (what === 'analyse' || what === 'all') scoreAnalysis(Number(cars))
if (what === 'compare' || what === 'all') scoreCompare(Number(cars))
if (what === 'advise' || what === 'all') scoreAdvice(Number(cars))
