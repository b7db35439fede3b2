import {
  emptyOpeningScore,
  type OpeningScore,
  printOpenings,
  scoreOpenings,
  share,
} from '../transientScore.ts'
import { randomCar, type SecondTruth } from './engine.ts'
import { createRandom } from './random.ts'
import {
  delayOffS,
  fittedOf,
  IDLE_KPA,
  nearRightSetup,
  openingsOf,
  POWER_KPA,
  POWER_RPM,
  quantile,
  randomWeather,
  run,
  show,
  states,
} from './scoreRuns.ts'

/** Moments this near to a true edge are excused, s. */
const EXCUSED_S = 0.3
/** A state counts from so many true steady moments of 5 ms: two seconds. */
const LEAST_MOMENTS = 400

/** Mean of the true λ over the steady time truly spent in the state. */
export function realised(truth: SecondTruth, state: string, column: Float64Array): number {
  let sum = 0
  let count = 0
  for (let i = 0; i < column.length; i++) {
    if (truth.state[i] !== state || !truth.steady[i]) continue
    // A short overrun that joined the state is no mixture.
    if (Number.isNaN(truth.lambdaBase[i]) || Number.isNaN(column[i])) continue
    sum += column[i]
    count++
  }
  return count < LEAST_MOMENTS ? Number.NaN : sum / count
}

/** The analysis against the truth of the second engine, row by row of the design's table. */
export function scoreAnalysis(cars: number, first = 0): void {
  const errors: Record<string, number[]> = {}
  let inside = 0
  let insideBase = 0
  let intervals = 0
  const delayIdle: number[] = []
  const delayPower: number[] = []
  const agreement: number[] = []
  const tips = emptyOpeningScore()
  const notes: string[] = []
  const bySet: Record<string, { agreement: number[]; errors: number[]; tips: OpeningScore }> = {}
  for (let seed = first; seed < first + cars; seed++) {
    const car = randomCar(seed)
    const r = createRandom(seed + 900)
    const setup = nearRightSetup(r)
    const { analysis, truth } = run(car, fittedOf(setup), randomWeather(seed), seed, 900, 0)
    const { result } = analysis
    const own: number[] = []
    for (const state of states) {
      const m = result.mixture[state]
      const true_ = realised(truth, state, truth.lambda)
      const base = realised(truth, state, truth.lambdaBase)
      if (m?.lambda_median == null || Number.isNaN(true_)) continue
      errors[state] = errors[state] ?? []
      const error = Math.abs(m.lambda_median - true_)
      errors[state].push(error)
      own.push(error)
      if (error > 0.015)
        notes.push(
          `seed ${seed} ${car.channels} ${car.sampleHz} Hz ${state}: ${m.lambda_median.toFixed(3)} true ${true_.toFixed(3)} (${m.seconds.toFixed(0)} s)`,
        )
      if (!m.ci95) continue
      intervals++
      if (m.ci95[0] <= true_ && true_ <= m.ci95[1]) inside++
      if (m.ci95[0] <= base && base <= m.ci95[1]) insideBase++
    }
    delayIdle.push(Math.abs(delayOffS(result, car, car.idleRpm, IDLE_KPA)))
    delayPower.push(Math.abs(delayOffS(result, car, POWER_RPM, POWER_KPA)))
    const told = scoreStates(result.states, truth)
    agreement.push(told.agreement)
    bySet[car.channels] = bySet[car.channels] ?? { agreement: [], errors: [], tips: emptyOpeningScore() }
    bySet[car.channels].agreement.push(told.agreement)
    bySet[car.channels].errors.push(...own)
    if (told.agreement < 0.97)
      notes.push(
        `seed ${seed} ${car.channels} ${car.sampleHz} Hz: states ${told.agreement.toFixed(3)}: ${told.worst}`,
      )
    const { pressureKpa } = randomWeather(seed)
    const openings = openingsOf(result, truth, pressureKpa)
    scoreOpenings(tips, result, openings)
    scoreOpenings(bySet[car.channels].tips, result, openings)
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
  for (const [set, { agreement: shares, errors: offs, tips: own }] of Object.entries(bySet))
    show(
      `  ${set} (${shares.length} cars): states mean, least; λ median, 95 %; tip-ins recall, precision`,
      `${(shares.reduce((a, b) => a + b, 0) / shares.length).toFixed(3)} ${Math.min(...shares).toFixed(3)}; ${quantile(offs, 0.5).toFixed(4)} ${quantile(offs, 0.95).toFixed(4)}; ${share(own.hits, own.truth)} ${share(own.found - own.extra, own.found)}`,
    )
  printOpenings('tip-ins over all channel sets', tips)
  for (const note of notes.slice(0, 30)) console.log(`  ${note}`)
}

/**
 * Share of the time in which the told state is the true one, tip-ins and tip-outs included; moments within 0.3 s of a true edge are excused, gaps
 * do not count.
 */
export function scoreStates(
  spans: { state: string; start_s: number; end_s: number }[],
  truth: SecondTruth,
): { agreement: number; worst: string } {
  const { state, timeS } = truth
  const n = timeS.length
  const excused = Math.round(EXCUSED_S / (timeS[1] - timeS[0]))
  const nextEdge = new Int32Array(n)
  let edge = n + excused
  for (let i = n - 1; i > 0; i--) {
    nextEdge[i] = edge
    if (state[i] !== state[i - 1]) edge = i
  }
  let lastEdge = -excused - 1
  let right = 0
  let counted = 0
  let k = 0
  const confused = new Map<string, number>()
  for (let i = 1; i < n; i++) {
    if (state[i] !== state[i - 1]) lastEdge = i
    while (k < spans.length && spans[k].end_s <= timeS[i]) k++
    const told = k < spans.length && spans[k].start_s <= timeS[i] ? spans[k].state : undefined
    if (!told || i - lastEdge <= excused || nextEdge[i] - i <= excused) continue
    counted++
    if (told === state[i]) right++
    else confused.set(`${state[i]}→${told}`, (confused.get(`${state[i]}→${told}`) ?? 0) + 1)
  }
  const worst = [...confused]
    .sort((a, b) => b[1] - a[1])
    .slice(0, 3)
    .map(([what, count]) => `${what} ${((100 * count) / counted).toFixed(1)} %`)
  return { agreement: right / counted, worst: worst.join(', ') }
}
