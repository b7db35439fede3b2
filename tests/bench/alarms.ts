/*
 * Alarms on either engine: what a car that is right cries in traffic, and how soon a lasting lean under load is told:
 * `tsx tests/bench/alarms.ts simulator|second [cars = 12] [first = 0]`. Prints numbers; there is no pass or fail.
 */
import { defaultTargets } from '../../core/contract/defaultTargets.ts'
import type { AlarmEntry, AnalysisResult } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import type { ParameterChanges } from '../../simulator/parameters.ts'
import { engineCase, makeRun } from './engineCases.ts'
import { drive, randomCar, rightSetup } from './second/engine.ts'
import { fittedOf, quantile, setupOf, show } from './second/scoreRuns.ts'

const [engine = 'simulator', countText = '12', firstText = '0'] = process.argv.slice(2)
const count = Number(countText)
const first = Number(firstText)
const TRAFFIC_S = 900

/** Limit of lean under load (screen rules of the project), and by how much a true λ must be over it to count. */
const LEAN_LIMIT = defaultTargets.power.lambda + 0.06
const CLEAR_OF_LIMIT = 0.015
/** So long over it is lasting, s; load is the trade's limit of power with a little room. */
const LASTS_S = 1
const LOADED = 0.87
/** On-delay of a warning by the screen rules, s: the log tells the first bad moment. */
const ON_DELAY_S = 0.3

/** A set-up is right at its home air: another day's moves λ as a jet does. */
const REFERENCE_AIR = { 'air.temperature_C': 20, 'air.pressure_kPa': 100, 'air.humidity_pct': 0 }

interface Seen {
  result: AnalysisResult
  timeS: Float64Array
  lambda: ArrayLike<number>
  load: ArrayLike<number>
}

/** What lies between the engine, as it was built, and the board: another build's right parts would be other ones. */
const seenOnly = (parameters: ParameterChanges): ParameterChanges =>
  Object.fromEntries(
    Object.entries(parameters).filter(([name]) => /^(sensor|exhaust|noise|line|driver)\./.test(name)),
  )

/** The simulator's car with its parts right or its power circuit lean; the sensor and the road at random. */
function fromSimulator(seed: number, isLean: boolean): Seen {
  const c = engineCase(seed)
  const { bytes, truth } = makeRun({
    ...c,
    setup: isLean ? 'lean_power' : 'right',
    drive: 'traffic',
    seconds: TRAFFIC_S,
    channels: 'usual',
    parameters: { ...seenOnly(c.parameters), ...REFERENCE_AIR },
  })
  const air = REFERENCE_AIR['air.pressure_kPa']
  return {
    result: analyseCapture(bytes).result,
    timeS: truth.timeS,
    lambda: truth.lambda[0],
    load: truth.manifoldKpa.map((kPa) => kPa / air),
  }
}

function fromSecond(seed: number, isLean: boolean): Seen {
  const car = { ...randomCar(seed), channels: 'usual' as const, filmLean: 0.1, pumpMl: 0.5 }
  const fitted = fittedOf({ ...rightSetup, powerMm: rightSetup.powerMm * (isLean ? 0.8 : 1) })
  const weather = { temperatureC: 20, pressureKpa: 100, humidityPct: 0 }
  const { bytes, truth } = drive(
    car,
    setupOf(fitted),
    weather,
    seed,
    TRAFFIC_S,
    '2026-03-01T09:00:00.000Z',
    fitted,
  )
  return { result: analyseCapture(bytes).result, timeS: truth.timeS, lambda: truth.lambda, load: truth.load }
}

const cry = engine === 'second' ? fromSecond : fromSimulator

/** Starts and ends of lasting lean under load, as it truly was. */
function lastingLean({ timeS, lambda, load }: Seen): { startS: number; endS: number }[] {
  const out: { startS: number; endS: number }[] = []
  let from = -1
  for (let i = 0; i <= timeS.length; i++) {
    const isLean =
      i < timeS.length && load[i] > LOADED && lambda[i] > LEAN_LIMIT + CLEAR_OF_LIMIT && lambda[i] < 1.6
    if (isLean && from < 0) from = i
    if (isLean || from < 0) continue
    if (timeS[i - 1] - timeS[from] >= LASTS_S) out.push({ startS: timeS[from], endS: timeS[i - 1] })
    from = -1
  }
  return out
}

const codes = new Map<string, number>()
const undeserved = new Map<string, number>()

/** True when the mixture, as a mean over the alarm, truly was out of the band; a loss of samples is what it says. */
function isDeserved({ code, start_s, end_s }: AlarmEntry, { timeS, lambda }: Seen): boolean {
  if (code === 'no_samples') return true
  const { power, cruise } = defaultTargets
  const band = code.endsWith('cruise') ? cruise : power
  let sum = 0
  let n = 0
  const stepS = timeS[1] - timeS[0]
  const end = Math.min(lambda.length, Math.round(((end_s ?? Number.POSITIVE_INFINITY) - timeS[0]) / stepS))
  for (let i = Math.max(0, Math.round((start_s - timeS[0]) / stepS)); i < end; i++) {
    if (!(lambda[i] < 1.6)) continue
    sum += lambda[i]
    n++
  }
  const mean = sum / n
  if (code === 'lean_under_load') return mean > LEAN_LIMIT - 0.02
  return code.startsWith('lean') ? mean > band.lambda + band.lean : mean < band.lambda - band.rich
}
let drivenS = 0
let quiet = 0
const late: number[] = []
let lean = 0
let told = 0
const overlaps = (alarm: AlarmEntry, startS: number, endS: number) =>
  alarm.start_s < endS + 1 && (alarm.end_s ?? Number.POSITIVE_INFINITY) > startS
for (let seed = first; seed < first + count; seed++) {
  const right = cry(seed, false)
  drivenS += right.result.run.seconds
  if (right.result.alarms.length <= right.result.run.seconds / 600) quiet++
  for (const alarm of right.result.alarms) {
    const { code } = alarm
    codes.set(code, (codes.get(code) ?? 0) + 1)
    if (!isDeserved(alarm, right)) undeserved.set(code, (undeserved.get(code) ?? 0) + 1)
  }
  const wrong = cry(seed, true)
  for (const { startS, endS } of lastingLean(wrong)) {
    lean++
    const alarm = wrong.result.alarms.find((a) => a.code === 'lean_under_load' && overlaps(a, startS, endS))
    if (!alarm) continue
    told++
    late.push(alarm.start_s + ON_DELAY_S - startS)
  }
}
const all = [...codes.values()].reduce((a, b) => a + b, 0)
console.log(`${engine}: ${count} cars from ${first}, ${TRAFFIC_S} s of traffic each`)
show('right: alarms in 10 min (≤ 1)', ((all * 600) / drivenS).toFixed(2))
show('  cars within that', `${quiet} of ${count}`)
show(
  '  which',
  [...codes]
    .sort((a, b) => b[1] - a[1])
    .map(([code, n]) => `${code} ${n}`)
    .join(', '),
)
show('  of these not so', [...undeserved].map(([code, n]) => `${code} ${n}`).join(', ') || 'none')
show('lasting lean under load told', `${told} of ${lean}`)
show('  after, s: 50, 90, 100 % (≤ 0.5)', [0.5, 0.9, 1].map((q) => quantile(late, q).toFixed(2)).join(' '))
