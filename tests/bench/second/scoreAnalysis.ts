import { randomCar, rightSetup, type SecondTruth, type Setup } from './engine.ts'
import { createRandom } from './random.ts'
import { fittedOf, quantile, randomWeather, run, show, states } from './scoreRuns.ts'

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

/** The analysis against the truth of the second engine, row by row of the design's table. */
export function scoreAnalysis(cars: number, first = 0): void {
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
  for (let seed = first; seed < first + cars; seed++) {
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
