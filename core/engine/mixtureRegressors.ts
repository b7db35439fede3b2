import type { ConditionedRun } from './conditionedRun.ts'
import type { DelayWindows } from './delayEvents.ts'

/**
 * What the mixture in the cylinder can be made of, whatever the engine: a map over load and speed, the closed throttle, overrun, and what wall film
 * and pump shot add while load and throttle move. Columns of equal length, each window's mean taken out, one after another in `values`.
 */
export interface Regressors {
  readonly rows: number
  readonly columns: number
  /** Column after column. */
  readonly values: Float64Array
  /** Index into the run of each row, and the window it belongs to. */
  readonly runIndex: Int32Array
  readonly windowOf: Int32Array
}

export interface RegressorOptions {
  readonly throttleRestPct: number
  readonly restPct: number
  readonly overrunRpm: number
  /** First-order lag of the sensor through which all columns are seen, s. */
  readonly sensorLagS: number
}

const LOAD_KNOTS = [0.25, 0.4, 0.55, 0.7, 0.85, 1]
/** Time constants of wall film and manifold, s; general literature on wall films (reference pack, film-ranges). */
const FILM_S = [0.25, 0.9]
const SHOT_S = [0.12, 0.5]
const OVERRUN_S = [0.3, 1]

export function createRegressors(
  run: ConditionedRun,
  load: Float64Array,
  windows: DelayWindows,
  options: RegressorOptions,
): Regressors {
  const signals = inputSignals(run, load, options)
  let rows = 0
  for (let w = 0; w < windows.count; w++) rows += windows.end[w] - windows.start[w]
  const columns = signals.length
  const values = new Float64Array(rows * columns)
  const runIndex = new Int32Array(rows)
  const windowOf = new Int32Array(rows)
  let row = 0
  for (let w = 0; w < windows.count; w++) {
    for (let i = windows.start[w]; i < windows.end[w]; i++) {
      runIndex[row] = i
      windowOf[row] = w
      row++
    }
  }
  for (let c = 0; c < columns; c++) {
    const signal = lowPassed(signals[c], run.timeS, run.count, options.sensorLagS)
    const base = c * rows
    let at = base
    for (let w = 0; w < windows.count; w++) {
      const from = windows.start[w]
      const to = windows.end[w]
      let sum = 0
      for (let i = from; i < to; i++) sum += signal[i]
      const mean = sum / (to - from)
      for (let i = from; i < to; i++) values[at++] = signal[i] - mean
    }
  }
  return { rows, columns, values, runIndex, windowOf }
}

function inputSignals(run: ConditionedRun, load: Float64Array, options: RegressorOptions): Float64Array[] {
  const { count, timeS, rpm, throttlePct } = run
  const signals: Float64Array[] = []
  const make = (value: (i: number) => number) => {
    const signal = new Float64Array(count)
    for (let i = 0; i < count; i++) {
      const v = value(i)
      signal[i] = Number.isNaN(v) ? (i > 0 ? signal[i - 1] : 0) : v
    }
    return signal
  }
  const hasLoad = run.count > 0 && load.some((v) => !Number.isNaN(v))
  const hasThrottle = throttlePct.some((v) => !Number.isNaN(v))
  const speed = make((i) => rpm[i] / 2500)
  signals.push(speed)
  const plainLoad = hasLoad ? make((i) => load[i]) : speed
  if (hasLoad) {
    for (let k = 1; k < LOAD_KNOTS.length; k++) {
      const knot = LOAD_KNOTS[k - 1]
      const width = LOAD_KNOTS[k] - knot
      signals.push(make((i) => Math.min(1, Math.max(0, (load[i] - knot) / width))))
    }
    signals.push(make((i) => load[i] * speed[i]))
  }
  for (const tau of FILM_S) signals.push(highPassed(plainLoad, timeS, count, tau))
  const overrun = make((i) => {
    const isClosed = hasThrottle ? throttlePct[i] - options.throttleRestPct < options.restPct : load[i] < 0.27
    return isClosed && rpm[i] > options.overrunRpm ? 1 : 0
  })
  signals.push(overrun)
  for (const tau of OVERRUN_S) signals.push(lowPassed(overrun, timeS, count, tau))
  if (!hasThrottle) return signals
  signals.push(make((i) => (throttlePct[i] - options.throttleRestPct < options.restPct ? 1 : 0)))
  const rate = (sign: number) =>
    make((i) =>
      i > 0
        ? Math.max(0, (sign * (throttlePct[i] - throttlePct[i - 1])) / (timeS[i] - timeS[i - 1])) / 100
        : 0,
    )
  const opening = rate(1)
  const closing = rate(-1)
  for (const tau of SHOT_S) {
    signals.push(lowPassed(opening, timeS, count, tau))
    signals.push(lowPassed(closing, timeS, count, tau))
  }
  return signals
}

/** First-order lag; 0 s copies. */
function lowPassed(signal: Float64Array, timeS: Float64Array, count: number, tauS: number): Float64Array {
  const out = new Float64Array(count)
  let y = count > 0 ? signal[0] : 0
  for (let i = 0; i < count; i++) {
    const stepS = i > 0 ? timeS[i] - timeS[i - 1] : 0
    y += (signal[i] - y) * (tauS > 0 ? 1 - Math.exp(-stepS / tauS) : 1)
    out[i] = y
  }
  return out
}

function highPassed(signal: Float64Array, timeS: Float64Array, count: number, tauS: number): Float64Array {
  const low = lowPassed(signal, timeS, count, tauS)
  for (let i = 0; i < count; i++) low[i] = signal[i] - low[i]
  return low
}
