/*
 * Hints, choke, warm-up figures and pulls against the simulator's truth: `tsx tests/bench/signs.ts [hints|choke|pulls] [cases = 12] [first = 0]`.
 * Prints numbers; there is no pass or fail.
 */
import type { AnalysisResult } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { findCar } from '../../simulator/cars.ts'
import type { ParameterChanges } from '../../simulator/parameters.ts'
import { simulateRun } from '../../simulator/run.ts'
import type { Truth } from '../../simulator/truth.ts'
import { engineCase, makeRun } from './engineCases.ts'

const [what = 'hints', countText = '12', firstText = '0'] = process.argv.slice(2)
const count = Number(countText)
const first = Number(firstText)
const seeds = Array.from({ length: count }, (_, i) => first + i)
const show = (name: string, value: unknown) => console.log(`${name.padEnd(56)} ${value}`)
const quantile = (values: readonly number[], q: number) => {
  const sorted = values.filter((v) => !Number.isNaN(v)).sort((a, b) => a - b)
  return sorted.length > 0 ? sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))] : Number.NaN
}
const spread = (values: readonly number[], digits: number) =>
  [0.5, 0.9, 1].map((q) => quantile(values, q).toFixed(digits)).join(' ')

/** Faults of the reading, each as large as an owner would want to hear of. */
const faults: Readonly<Record<string, ParameterChanges>> = {
  none: {},
  exhaust_leak: { 'exhaust.leak_share': 0.2 },
  misfire: { 'engine.misfire': 0.2 },
  overlap_camshaft: { 'engine.overlap': 0.9 },
  sensor_aged: { 'sensor.gain': 0.9 },
}

function scoreHints(): void {
  for (const [fault, parameters] of Object.entries(faults)) {
    const told = new Map<string, number>()
    let quiet = 0
    for (const seed of seeds) {
      const c = engineCase(seed)
      const { bytes } = makeRun({
        ...c,
        setup: 'right',
        drive: 'traffic',
        seconds: 600,
        parameters: { ...c.parameters, ...parameters },
      })
      const { hints } = analyseCapture(bytes).result.trust
      if (hints.length === 0) quiet++
      for (const { code } of hints) told.set(code, (told.get(code) ?? 0) + 1)
    }
    const list = [...told].map(([code, n]) => `${code} ${n}`).join(', ')
    show(
      `hints, ${fault === 'none' ? 'nothing wrong' : fault} (${count} runs)`,
      `${list || 'none'}; quiet ${quiet}`,
    )
  }
}

/** First moment from which the throttle rests closed for ten seconds, speed within 12 % of its mean; −1 for none. */
function idlesFrom({ timeS, rpm, throttlePct }: Truth, from: number): number {
  for (let i = from; i < rpm.length; i++) {
    let sum = 0
    let least = Number.POSITIVE_INFINITY
    let most = 0
    let k = i
    for (; k < rpm.length && timeS[k] - timeS[i] < 10; k++) {
      if (throttlePct[k] > 1.5 || rpm[k] < 300) break
      sum += rpm[k]
      least = Math.min(least, rpm[k])
      most = Math.max(most, rpm[k])
      const mean = sum / (k - i + 1)
      if (least < 0.88 * mean || most > 1.12 * mean) break
    }
    if (k < rpm.length && timeS[k] - timeS[i] >= 10) return i
    // What broke it breaks it for the samples just after as well.
    if (k > i && throttlePct[Math.min(k, rpm.length - 1)] > 1.5) i = k
  }
  return -1
}

function scoreChoke(): void {
  const verdicts = new Map<string, number>()
  const crank: number[] = []
  const selfIdle: number[] = []
  const selfIdleC: number[] = []
  let stalls = 0
  let stallsRight = 0
  for (const seed of seeds) {
    const c = engineCase(seed)
    for (const setup of ['right', 'early_choke', 'late_choke']) {
      if (!(setup in findCar(c.car).setups)) continue
      const { bytes, truth } = makeRun({
        ...c,
        setup,
        drive: 'cold_start',
        seconds: undefined,
        channels: 'usual',
      })
      const told = analyseCapture(bytes).result.warm_up
      const key = `${setup}→${told?.choke ?? 'no warm-up'}`
      verdicts.set(key, (verdicts.get(key) ?? 0) + 1)
      if (!told) continue
      // By the trade's words: it has fired at 400 rpm; it idles by itself with the plate closed, so not yet on the fast-idle cam.
      const crankAt = truth.rpm.findIndex((rpm) => rpm > 50)
      const fireAt = truth.rpm.findIndex((rpm) => rpm > 400)
      if (told.crank_s !== null)
        crank.push(Math.abs(told.crank_s - (truth.timeS[fireAt] - truth.timeS[crankAt])))
      const idleAt = idlesFrom(truth, fireAt)
      if (idleAt >= 0 && told.self_idle_s !== null && told.self_idle_coolant_C !== null) {
        selfIdle.push(Math.abs(told.self_idle_s - (truth.timeS[idleAt] - truth.timeS[fireAt])))
        selfIdleC.push(Math.abs(told.self_idle_coolant_C - truth.coolantC[idleAt]))
      }
      stalls++
      if (told.stalls === truth.events.filter(({ kind }) => kind === 'stall').length) stallsRight++
    }
  }
  show('choke, true→told', [...verdicts].map(([key, n]) => `${key} ${n}`).join(', '))
  show('cranking, error, s: 50, 90, 100 %', spread(crank, 2))
  show('idles by itself, error, s', spread(selfIdle, 1))
  show('idles by itself, coolant error, K', spread(selfIdleC, 1))
  show('stalls counted right', `${stallsRight} of ${stalls}`)
}

/** Greatest wheel power within a pull, as a mean over a fifth of a second, kW. */
function truePeak({ timeS, wheelPowerKw }: Truth, fromS: number, toS: number): number {
  let most = Number.NaN
  for (let i = 0; i < timeS.length; i++) {
    if (timeS[i] < fromS || timeS[i] > toS) continue
    let sum = 0
    let n = 0
    for (let k = i; k < timeS.length && timeS[k] - timeS[i] < 0.2; k++, n++) sum += wheelPowerKw[k]
    if (!(sum / n <= most)) most = sum / n
  }
  return most
}

function scorePulls(): void {
  const errors: number[] = []
  const signed: number[] = []
  const bands: number[] = []
  let held = 0
  for (const seed of seeds) {
    const c = engineCase(seed)
    const { 'vehicle.mass_kg': _mass, ...parameters } = c.parameters
    const { bytes, truth } = simulateRun({
      car: findCar(c.car),
      parameters,
      drive: 'pulls',
      seed,
      rateHz: c.rateHz,
      channels: 'usual',
    })
    const { result } = analyseCapture(bytes)
    const peaks = result.pulls.map((pull) => {
      const right = truePeak(truth, pull.start_s + 0.4, pull.end_s) * Number(pull.correction_factor ?? 1)
      if (pull.peak_kW === null) return Number.NaN
      errors.push(Math.abs(pull.peak_kW / right - 1))
      signed.push(pull.peak_kW / right - 1)
      return right
    })
    const band = repeatOf(result)
    if (!band) continue
    bands.push(band.half_band_kW / band.peak_kW)
    const mean = peaks.reduce((a, b) => a + b, 0) / peaks.length
    if (Math.abs(band.peak_kW - mean) <= Math.max(band.half_band_kW, 0.03 * mean)) held++
  }
  show('pulls: peak wheel power, error, share: 50, 90, 100 %', spread(errors, 3))
  show('  signed, median', quantile(signed, 0.5).toFixed(3))
  show('  half band over pulls, share of the peak', spread(bands, 3))
  show('  mean true peak within band or 3 %', `${held} of ${bands.length}`)
}

const repeatOf = (result: AnalysisResult) => result.pull_repeat

if (what === 'hints') scoreHints()
if (what === 'choke') scoreChoke()
if (what === 'pulls') scorePulls()
