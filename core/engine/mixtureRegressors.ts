import type { ConditionedRun } from './conditionedRun.ts'
import type { DelayWindows } from './delayEvents.ts'
import { plateOpening } from './plateOpening.ts'

/**
 * What the mixture in the cylinder can be made of, whatever the engine: a map over load and speed, the closed throttle, overrun, and what wall film
 * and pump shot add while load and throttle move. Columns of equal length, each window's mean taken out, one after another in `values`.
 */
export interface Regressors extends RegressorRows {
  readonly columns: number
  /** Column after column. */
  readonly values: Float64Array
}

/** The rows of the windows, the same for whatever is laid along them. */
export interface RegressorRows {
  readonly rows: number
  /** Index into the run of each row, and the window it belongs to. */
  readonly runIndex: Int32Array
  readonly windowOf: Int32Array
  /** Time since the row before, s; infinite where a stretch begins. */
  readonly stepS: Float64Array
}

export interface RegressorOptions {
  readonly throttleRestPct: number
  readonly restPct: number
  readonly overrunRpm: number
}

/** The signals of a run's windows, which are the same whatever the sensor's lag. */
export interface RegressorSignals {
  readonly rows: RegressorRows
  /** 1 where the gas was drawn in with the throttle surely shut, in an overrun: when fuel stops there, and how much of it burns, no signal tells. */
  readonly inOverrun: Uint8Array
  /** All columns as seen through a sensor's first-order lag, s, each row times its weight. */
  through(sensorLagS: number, weightOf: Float64Array): Regressors
}

const LOAD_KNOTS = [0.25, 0.4, 0.55, 0.7, 0.85, 1]
/** Slower than this, s, the model's misfit (film, wander, load map) is greater than what the delay does: the timing is in the quick part. */
const QUICK_S = 0.2
/** Time constants of wall film and manifold, s; general literature on wall films (reference pack, film-ranges). */
const FILM_S = 0.9
const SHOT_S = [0.12, 0.5]
const OVERRUN_S = 0.5
/** Below this load the throttle is taken to be shut where no throttle is told. Chosen here. */
const LIGHT_LOAD = 0.27
/** The pump's shot is thinned by the air that flows: what the plate's travel gives in a flow beside idle's, rpm × load, counts as this, within these. Chosen here. */
const IDLE_FLOW = 400
const LEAST_FLOW = 200
const MOST_THINNED = 1.5
const THIN_SHOT_S = [0.05, 0.12, 0.5]
/** The film holds back a part of what the flow of fuel rises by, as a share of that flow, s; chosen here within the film's range. */
const FLOW_FILM_S = [0.12, 0.4]

/** Signals by row: filters begin settled at the start of each stretch. O(rows), whatever the length of the run. */
export function createRegressorSignals(
  run: ConditionedRun,
  load: Float64Array,
  windows: DelayWindows,
  options: RegressorOptions,
): RegressorSignals {
  let rows = 0
  for (let w = 0; w < windows.count; w++) rows += windows.end[w] - windows.start[w]
  const runIndex = new Int32Array(rows)
  const windowOf = new Int32Array(rows)
  const stepS = new Float64Array(rows)
  let row = 0
  for (let w = 0; w < windows.count; w++) {
    for (let i = windows.start[w]; i < windows.end[w]; i++) {
      runIndex[row] = i
      windowOf[row] = w
      // A long stretch that was cut goes on; filters begin anew only after a jump.
      const isJump = i === windows.start[w] && !(w > 0 && windows.end[w - 1] === i)
      stepS[row] = isJump ? Number.POSITIVE_INFINITY : run.timeS[i] - run.timeS[i - 1]
      row++
    }
  }
  const inOverrun = new Uint8Array(rows)
  const signals = inputSignals(run, load, runIndex, stepS, options, inOverrun)
  const columns = signals.length
  return {
    rows: { rows, runIndex, windowOf, stepS },
    inOverrun,
    through(sensorLagS, weightOf) {
      const values = new Float64Array(rows * columns)
      for (let c = 0; c < columns; c++) {
        lessMean(values, c * rows, lowPassed(signals[c], stepS, sensorLagS), windowOf, stepS, weightOf)
      }
      return { rows, columns, values, runIndex, windowOf, stepS }
    },
  }
}

/** Takes the slow part out of one window's rows, in place, and returns the mean of what is left of those that count; 0 when none does. */
export function quickPart(
  values: Float64Array,
  from: number,
  to: number,
  stepS: Float64Array,
  weightOf: Float64Array,
): number {
  let slow = values[from]
  let sum = 0
  let count = weightOf[from] > 0 ? 1 : 0
  let lastStepS = Number.NaN
  let share = 0
  values[from] = 0
  for (let r = from + 1; r < to; r++) {
    if (stepS[r] !== lastStepS) {
      lastStepS = stepS[r]
      share = 1 - Math.exp(-lastStepS / QUICK_S)
    }
    slow += (values[r] - slow) * share
    values[r] -= slow
    if (weightOf[r] > 0) {
      sum += values[r]
      count++
    }
  }
  return count > 0 ? sum / count : 0
}

/** Writes a signal's quick part from `base` on, each window's mean taken out, each row times its weight. */
function lessMean(
  values: Float64Array,
  base: number,
  signal: Float64Array,
  windowOf: Int32Array,
  stepS: Float64Array,
  weightOf: Float64Array,
): void {
  const rows = signal.length
  for (let from = 0; from < rows; ) {
    let to = from + 1
    while (to < rows && windowOf[to] === windowOf[from]) to++
    const mean = quickPart(signal, from, to, stepS, weightOf)
    for (let r = from; r < to; r++) values[base + r] = (signal[r] - mean) * weightOf[r]
    from = to
  }
}

function inputSignals(
  run: ConditionedRun,
  load: Float64Array,
  runIndex: Int32Array,
  stepS: Float64Array,
  options: RegressorOptions,
  inOverrun: Uint8Array,
): Float64Array[] {
  const { timeS, rpm, throttlePct } = run
  const signals: Float64Array[] = []
  const rows = runIndex.length
  const make = (value: (i: number) => number) => {
    const signal = new Float64Array(rows)
    for (let r = 0; r < rows; r++) {
      const v = value(runIndex[r])
      signal[r] = Number.isNaN(v) ? (r > 0 ? signal[r - 1] : 0) : v
    }
    return signal
  }
  const hasLoad = runIndex.some((i) => !Number.isNaN(load[i]))
  const hasThrottle = runIndex.some((i) => !Number.isNaN(throttlePct[i]))
  const speed = make((i) => rpm[i] / 2500)
  signals.push(speed)
  const plainLoad = hasLoad ? make((i) => load[i]) : speed
  if (hasLoad) {
    for (let k = 1; k < LOAD_KNOTS.length; k++) {
      const knot = LOAD_KNOTS[k - 1]
      const width = LOAD_KNOTS[k] - knot
      signals.push(make((i) => Math.min(1, Math.max(0, (load[i] - knot) / width))))
    }
    signals.push(make((i) => (load[i] * rpm[i]) / 2500))
  }
  signals.push(highPassed(plainLoad, stepS, FILM_S))
  const isShut = (i: number) =>
    hasThrottle ? throttlePct[i] - options.throttleRestPct < options.restPct : load[i] < LIGHT_LOAD
  const overrun = make((i) => (isShut(i) && rpm[i] > options.overrunRpm ? 1 : 0))
  // Pressure alone only guesses at the shut throttle, and light load is the most that such a board has to go by.
  if (hasThrottle) inOverrun.set(overrun)
  signals.push(overrun)
  signals.push(lowPassed(overrun, stepS, OVERRUN_S))
  if (!hasThrottle && !hasLoad) return signals
  if (hasThrottle) signals.push(make((i) => (isShut(i) ? 1 : 0)))
  const openedPct = hasThrottle ? throttlePct : load.map((each, i) => plateOpening(each, rpm[i]))
  const rate = (sign: number) =>
    make((i) =>
      i > 0 ? Math.max(0, (sign * (openedPct[i] - openedPct[i - 1])) / (timeS[i] - timeS[i - 1]) / 100) : 0,
    )
  const opening = rate(1)
  if (hasLoad) {
    const flow = make((i) => Math.max(LEAST_FLOW, load[i] * rpm[i]))
    const thinned = opening.map((each, r) => each * Math.min(MOST_THINNED, IDLE_FLOW / flow[r]))
    for (const tau of THIN_SHOT_S) signals.push(lowPassed(thinned, stepS, tau))
    const logFlow = flow.map(Math.log)
    for (const tau of FLOW_FILM_S) signals.push(highPassed(logFlow, stepS, tau))
  }
  const closing = rate(-1)
  for (const tau of SHOT_S) {
    signals.push(lowPassed(opening, stepS, tau))
    signals.push(lowPassed(closing, stepS, tau))
  }
  return signals
}

/** First-order lag; an infinite step begins anew at the signal's own value. */
function lowPassed(signal: Float64Array, stepS: Float64Array, tauS: number): Float64Array {
  const out = new Float64Array(signal.length)
  let y = 0
  let lastStepS = Number.NaN
  let share = 1
  for (let r = 0; r < signal.length; r++) {
    if (stepS[r] !== lastStepS) {
      lastStepS = stepS[r]
      share = 1 - Math.exp(-lastStepS / tauS)
    }
    y += (signal[r] - y) * share
    out[r] = y
  }
  return out
}

function highPassed(signal: Float64Array, stepS: Float64Array, tauS: number): Float64Array {
  const low = lowPassed(signal, stepS, tauS)
  for (let r = 0; r < signal.length; r++) low[r] = signal[r] - low[r]
  return low
}
