import type { ConditionedRun } from './conditionedRun.ts'
import type { DelayWindows } from './delayEvents.ts'
import type { DelayLaw, FlowModel } from './delayLaw.ts'
import {
  createRegressorSignals,
  quickPart,
  type RegressorRows,
  type RegressorSignals,
  type Regressors,
} from './mixtureRegressors.ts'
import { explainedSquare, factorise, multiplyFour, solveWeights } from './normalEquations.ts'
import { flowFigure } from './pointHistory.ts'
import { pointsOf, readingsAt } from './readWindows.ts'
import { weighOddWindows, weighRows } from './rowWeights.ts'

export interface LearnDelayOptions {
  readonly throttleRestPct: number
  readonly warmIdleRpm: number
  /** Of boards without a pressure sensor (`LearnedCar.throttleNeed`). */
  readonly throttleNeed: number
  readonly barometerKpa: number
  /** Law learned on earlier runs of this car, and the events behind it. */
  readonly earlier?: DelayLaw
  readonly earlierEvents: number
}

/** Lag of an unknown sensor, s; common practice, no source. */
export const PRIOR_LAG_S = 0.07
/** Spread of the prior: of b as a factor, of the rest in s. An earlier run's law is trusted as if it were so sharp. */
const PRIOR_B_LOG_SD = 0.35
const PRIOR_A_SD_S = 0.03
const PRIOR_LAG_LOG_SD = 0.5
const EARLIER_B_LOG_SD = 0.12
const EARLIER_A_SD_S = 0.015
/** Rows that tell as much as one independent reading: what the model leaves over lasts for seconds (wall film, wander), so it is many. */
const ROWS_PER_READING = 200
const LEAST_ROWS = 200
/** No gas is awaited longer than this, s: the engine has stopped. */
const MOST_PIPE_S = 2
/** Arrivals kept for so many laws: those around the best one so far. */
const KEPT_ARRIVALS = 8
const LEAN_END_LAMBDA = 2

/** How well a run is explained by a delay law, for any law and any lag of the sensor. */
export interface Search {
  /** True when some rows were left out, so that it may find another law than one that trusts the overrun. */
  readonly leavesOut: boolean
  setLag(lagS: number): void
  /** From now on, moves that a law near the best one cannot explain count for less. */
  weighBy(flow: FlowModel, pureS: number, b: number): void
  /** Log likelihood with prior of a law whose total delay is pure + lag + b/x. */
  score(flow: FlowModel, pureS: number, b: number): number
}

/** What each search over the same run needs of it. */
export interface SearchedRun {
  readonly run: ConditionedRun
  /** Manifold pressure over the air outside, or its guess, by point. */
  readonly load: Float64Array
  /** Flow figure of each point, rpm·kPa, and its sum over time. */
  readonly figure: Float64Array
  readonly flowSum: Float64Array
  /** 1/λ by reading; the last one stands where λ is missing. */
  readonly phi: Float64Array
}

export function prepareSearch(run: ConditionedRun, load: Float64Array, barometerKpa: number): SearchedRun {
  const { count, timeS, rpm, lambda, lambdaCount } = run
  const flowSum = new Float64Array(count)
  const figure = new Float64Array(count)
  for (let i = 0; i < count; i++) {
    figure[i] = flowFigure(rpm[i], load[i] * barometerKpa)
    if (i > 0) flowSum[i] = flowSum[i - 1] + figure[i] * Math.min(0.5, timeS[i] - timeS[i - 1])
  }
  const phi = new Float64Array(lambdaCount)
  let lastPhi = 1
  for (let i = 0; i < lambdaCount; i++) {
    if (!Number.isNaN(lambda[i])) lastPhi = 1 / Math.min(LEAN_END_LAMBDA, lambda[i])
    phi[i] = lastPhi
  }
  return { run, load, figure, flowSum, phi }
}

/** Windows of a run with the signals of the model in them: the same for each search over them. */
export interface SearchedWindows {
  readonly signals: RegressorSignals
  /** Number of the newest reading when each window begins. */
  readonly readingAt: Int32Array
}

/** Undefined when too little moved. */
export function prepareWindows(
  { run, load }: SearchedRun,
  windows: DelayWindows,
  options: LearnDelayOptions,
): SearchedWindows | undefined {
  if (pointsOf(windows) < LEAST_ROWS) return undefined
  const signals = createRegressorSignals(run, load, windows, {
    throttleRestPct: options.throttleRestPct,
    restPct: 1.5,
    overrunRpm: 1.4 * options.warmIdleRpm,
  })
  return { signals, readingAt: readingsAt(run, windows) }
}

/**
 * Undefined when too little moved. O(rows) a law. `allPoints`: how many points all windows have, of which these may be a part. `trustsOverrun`: the
 * beginning of an overrun counts as any other move, as if its fuel stopped at once.
 */
export function createSearch(
  { run, figure, flowSum, phi }: SearchedRun,
  { signals, readingAt }: SearchedWindows,
  allPoints: number,
  options: LearnDelayOptions,
  before: DelayLaw,
  { trustsOverrun }: { trustsOverrun: boolean },
): Search | undefined {
  const { count, timeS } = run
  let lagS = PRIOR_LAG_S
  const { rows } = signals
  const weightOf = trustsOverrun ? new Float64Array(rows.rows).fill(1) : weighRows(rows, signals.inOverrun)
  const counted = weightOf.reduce((sum, each) => sum + each, 0)
  if (counted < LEAST_ROWS) return undefined
  let x: Regressors | undefined
  let factor: Float64Array = new Float64Array(0)
  let right = new Float64Array(0)
  const y = new Float64Array(rows.rows)
  const hasEarlier = options.earlier !== undefined
  const sdB = hasEarlier ? EARLIER_B_LOG_SD : PRIOR_B_LOG_SD
  const sdA = hasEarlier ? EARLIER_A_SD_S : PRIOR_A_SD_S
  // A part of the windows speaks for all of them.
  const readings = allPoints / ROWS_PER_READING

  function setLag(next: number): void {
    lagS = next
    x = undefined
  }

  /** The model as seen through the lag, worked out when first a law is tried with it. */
  function designNow(): Regressors {
    if (x) return x
    x = signals.through(lagS, weightOf)
    factor = factorise(x)
    right = new Float64Array(x.columns)
    return x
  }

  /** When each row's gas reaches the sensor by the pipe alone, s. Laws are tried beside each other, so the last few are kept. */
  const known: { flow: FlowModel; b: number; arrivalS: Float64Array }[] = []

  function arrivalsOf(flow: FlowModel, b: number): Float64Array {
    const found = known.findIndex((each) => each.flow === flow && each.b === b)
    if (found >= 0) {
      const [entry] = known.splice(found, 1)
      known.push(entry)
      return entry.arrivalS
    }
    const arrivalS = known.length === KEPT_ARRIVALS ? known.shift()!.arrivalS : new Float64Array(rows.rows)
    known.push({ flow, b, arrivalS })
    if (flow === 'cause') arrivalsByCause(arrivalS, rows, b)
    else if (flow === 'plug') arrivalsByFlow(arrivalS, rows, b)
    else arrivalsByArrival(arrivalS, rows, b)
    keepOrder(arrivalS, rows)
    return arrivalS
  }

  function arrivalsByCause(arrivalS: Float64Array, { rows, runIndex }: RegressorRows, b: number): void {
    for (let row = 0; row < rows; row++) {
      const i = runIndex[row]
      arrivalS[row] = Math.min(timeS[i] + MOST_PIPE_S, timeS[i] + b / figure[i])
    }
  }

  function arrivalsByFlow(
    arrivalS: Float64Array,
    { rows, runIndex, windowOf }: RegressorRows,
    b: number,
  ): void {
    let ahead = 0
    for (let row = 0; row < rows; row++) {
      const i = runIndex[row]
      if (row === 0 || windowOf[row] !== windowOf[row - 1]) ahead = i
      const latestS = timeS[i] + MOST_PIPE_S
      const wanted = flowSum[i] + b
      while (ahead < count - 1 && flowSum[ahead] < wanted && timeS[ahead] < latestS) ahead++
      let s = timeS[ahead]
      if (ahead > i && flowSum[ahead] > wanted) s -= (flowSum[ahead] - wanted) / figure[ahead]
      arrivalS[row] = s
    }
  }

  function arrivalsByArrival(
    arrivalS: Float64Array,
    { rows, runIndex, windowOf }: RegressorRows,
    b: number,
  ): void {
    let ahead = 0
    // When the gas set out that arrives at the point ahead.
    let causeS = 0
    for (let row = 0; row < rows; row++) {
      const i = runIndex[row]
      if (row === 0 || windowOf[row] !== windowOf[row - 1]) {
        ahead = i
        causeS = timeS[ahead] - b / figure[ahead]
      }
      const latestS = timeS[i] + MOST_PIPE_S
      while (ahead < count - 1 && causeS < timeS[i] && timeS[ahead] < latestS) {
        ahead++
        causeS = timeS[ahead] - b / figure[ahead]
      }
      let s = timeS[ahead]
      if (ahead > i) {
        const over = causeS - timeS[i]
        const step = timeS[ahead] - timeS[ahead - 1] - b / figure[ahead] + b / figure[ahead - 1]
        if (over > 0 && step > 0) s -= Math.min(1, over / step) * (timeS[ahead] - timeS[ahead - 1])
      }
      arrivalS[row] = s
    }
  }

  /** What a later, quicker parcel overtakes never reaches the sensor by itself. */
  function keepOrder(arrivalS: Float64Array, { rows, windowOf }: RegressorRows): void {
    for (let row = 1; row < rows; row++) {
      if (windowOf[row] === windowOf[row - 1] && arrivalS[row] < arrivalS[row - 1])
        arrivalS[row] = arrivalS[row - 1]
    }
  }

  /** Quick part of 1/λ at the arrival of each row's gas, window means taken out, each row times its weight; returns its sum of squares. */
  function layReadings(flow: FlowModel, pureS: number, b: number): number {
    const { windowOf, stepS } = rows
    const arrivals = arrivalsOf(flow, b)
    const { lambdaS, lambdaCount } = run
    let square = 0
    for (let row = 0; row < rows.rows; ) {
      const window = windowOf[row]
      const from = row
      let k = readingAt[window]
      for (; row < rows.rows && windowOf[row] === window; row++) {
        const arrivalS = arrivals[row] + pureS
        while (k > 0 && lambdaS[k] > arrivalS) k--
        while (k < lambdaCount - 2 && lambdaS[k + 1] <= arrivalS) k++
        const share = Math.min(1, Math.max(0, (arrivalS - lambdaS[k]) / (lambdaS[k + 1] - lambdaS[k])))
        y[row] = phi[k] + share * (phi[k + 1] - phi[k])
      }
      const mean = quickPart(y, from, row, stepS, weightOf)
      for (let r = from; r < row; r++) {
        y[r] = (y[r] - mean) * weightOf[r]
        square += y[r] * y[r]
      }
    }
    return square
  }

  /** Share of the readings' square that the model leaves over under a law; the readings stand in `y`, the least squares half solved in `right`. */
  function fitModel(flow: FlowModel, pureS: number, b: number): number {
    const { columns, values } = designNow()
    const square = layReadings(flow, pureS, b)
    for (let c = 0; c < columns; c += 4) {
      multiplyFour(right, c, Math.min(4, columns - c), values, rows.rows, y, 0)
    }
    const explained = explainedSquare(factor, right, columns)
    return Math.max(1e-9, 1 - explained / square)
  }

  return {
    leavesOut: counted < rows.rows,
    setLag,
    weighBy(flow, pureS, b) {
      const { columns, values } = designNow()
      fitModel(flow, pureS, b)
      const weights = solveWeights(factor, right, columns)
      for (let c = 0; c < columns; c++) {
        for (let row = 0; row < rows.rows; row++) y[row] -= weights[c] * values[c * rows.rows + row]
      }
      weighOddWindows(rows, y, weightOf)
      x = undefined
    },
    score(flow, pureS, b) {
      const left = fitModel(flow, pureS, b)
      const fit = (-readings / 2) * Math.log(left)
      const offB = Math.log(b / before.bSRpmKpa) / sdB
      const offA = (pureS + lagS - before.aS) / sdA
      const offLag = Math.log(lagS / PRIOR_LAG_S) / PRIOR_LAG_LOG_SD
      const negative = pureS < 0 ? (pureS / 0.01) ** 2 : 0
      return fit - (offB * offB + offA * offA + offLag * offLag + negative) / 2
    },
  }
}
