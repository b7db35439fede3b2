import type { ConditionedRun } from './conditionedRun.ts'
import { type DelayWindows, findDelayWindows, thinWindows } from './delayEvents.ts'
import { type DelayLaw, type FlowModel, priorDelayLaw } from './delayLaw.ts'
import { createRegressorSignals, quickPart, type Regressors } from './mixtureRegressors.ts'
import { flowFigure } from './pointHistory.ts'

/** The delay law of a run, and what it rests on. */
export interface LearnedDelay extends DelayLaw {
  readonly eventsUsed: number
  /** Part of `aS` that is the sensor's own first-order lag, s. */
  readonly sensorLagS: number
}

export interface LearnDelayOptions {
  readonly throttleRestPct: number
  readonly warmIdleRpm: number
  readonly barometerKpa: number
  /** Law learned on earlier runs of this car, and the events behind it. */
  readonly earlier?: DelayLaw
  readonly earlierEvents: number
}

/** Spread of the prior: of b as a factor, of the rest in s. An earlier run's law is trusted as if it were so sharp. */
const PRIOR_B_LOG_SD = 0.35
const PRIOR_A_SD_S = 0.03
const PRIOR_LAG_S = 0.07
const PRIOR_LAG_LOG_SD = 0.5
const EARLIER_B_LOG_SD = 0.12
const EARLIER_A_SD_S = 0.015
/** Rows that tell as much as one independent reading: what the model leaves over lasts for seconds (wall film, wander), so it is many. */
const ROWS_PER_READING = 200
const LAGS_S = [0.03, 0.05, 0.1, 0.14]
/** Directions of the climb: of the constant part, and of b as a power of its step. */
type Step = readonly [number, number]
const STEPS: readonly Step[] = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
  [1, -1],
  [-1, 1],
]
/** The constant part may fall a little below the sensor's lag, s: the prior draws it back. */
const LEAST_PURE_S = -0.02
const LEAST_ROWS = 200
/** Points on which the way is found; the last steps are taken on all. */
const ROUGH_POINTS = 2500
/** No gas is awaited longer than this, s: the engine has stopped. */
const MOST_PIPE_S = 2
/** Arrivals kept for so many laws: those around the best one so far. */
const KEPT_ARRIVALS = 8
/** Physics of a pipe speaks for `plug`: another model of it must explain so much more. Chosen here. */
const PLUG_LOG_ODDS = 0.3
const RIDGE = 1e-4
const LEAN_END_LAMBDA = 2

/**
 * Learns delay = a + b / (rpm × kPa) from a run's own moves of throttle and load: the law under which λ is best explained by what the engine did,
 * through a general model whose weights are found anew for each candidate law, with a prior. Time is linear in the run, bounded in its events.
 */
export function learnDelay(run: ConditionedRun, options: LearnDelayOptions): LearnedDelay {
  const before = options.earlier ?? priorDelayLaw
  const load = loadOf(run, options)
  const windows = dropUnread(run, findDelayWindows(run, load))
  const full = createSearch(run, load, windows, windows, options, before)
  if (!full) {
    return { ...before, eventsUsed: 0, sensorLagS: Math.min(PRIOR_LAG_S, before.aS / 2) }
  }
  const rough = createSearch(run, load, thinWindows(windows, ROUGH_POINTS), windows, options, before) ?? full
  let best = climb(rough, 'plug', PRIOR_LAG_S, coarse(rough, 'plug', before))
  for (const flow of ['cause', 'arrival'] as const) {
    const tried = climb(rough, flow, PRIOR_LAG_S, best)
    if (tried.score > best.score + (best.flow === 'plug' ? PLUG_LOG_ODDS : 0)) best = tried
  }
  for (const lagS of LAGS_S) {
    rough.setLag(lagS)
    const tried = climb(rough, best.flow, lagS, {
      pureS: Math.max(0, best.pureS + best.lagS - lagS),
      b: best.b,
    })
    if (tried.score > best.score) best = tried
  }
  if (rough !== full) {
    full.setLag(best.lagS)
    best = climb(full, best.flow, best.lagS, best)
  }
  return {
    aS: best.pureS + best.lagS,
    bSRpmKpa: best.b,
    flow: best.flow,
    eventsUsed: windows.events,
    sensorLagS: best.lagS,
  }
}

interface Candidate {
  readonly score: number
  readonly pureS: number
  readonly b: number
  readonly lagS: number
  readonly flow: FlowModel
}

type Start = Pick<Candidate, 'pureS' | 'b'>

/** Best of a wide grid around what is known beforehand. */
function coarse(search: Search, flow: FlowModel, before: DelayLaw): Start {
  let best: Start = { pureS: 0.03, b: before.bSRpmKpa }
  let score = Number.NEGATIVE_INFINITY
  for (const factor of [0.45, 0.65, 1, 1.5, 2.2]) {
    for (const pureS of [0, 0.03, 0.07]) {
      const b = before.bSRpmKpa * factor
      const found = search.score(flow, pureS, b)
      if (!(found > score)) continue
      score = found
      best = { pureS, b }
    }
  }
  return best
}

/** Best law for one lag and one model of the pipe, by steps that shrink. */
function climb(search: Search, flow: FlowModel, lagS: number, start: Start): Candidate {
  let { pureS, b } = start
  let score = search.score(flow, pureS, b)
  let stepB = 1.25
  let stepS = 0.02
  // The step that led here; places beside it were tried from where it began, and were no better.
  let came: Step | undefined
  for (let round = 0; round < 12 && stepS > 0.0015; round++) {
    const fromS = pureS
    const fromB = b
    let taken: Step | undefined
    for (const step of STEPS) {
      if (came && wasTried(came, step)) continue
      const [side, power] = step
      const triedS = Math.max(LEAST_PURE_S, fromS + side * stepS)
      const triedB = fromB * stepB ** power
      const found = search.score(flow, triedS, triedB)
      if (!(found > score)) continue
      score = found
      pureS = triedS
      b = triedB
      taken = step
    }
    // At the edge a step is cut short, and what lies beside it is new.
    came = pureS > LEAST_PURE_S ? taken : undefined
    if (taken) continue
    stepB = 1 + (stepB - 1) / 2
    stepS /= 2
  }
  return { score, pureS, b, lagS, flow }
}

/** True when `step` after `came` ends at a place that is itself one step, or none, from where `came` began. */
function wasTried(came: Step, step: Step): boolean {
  const side = came[0] + step[0]
  const power = came[1] + step[1]
  return (side === 0 && power === 0) || STEPS.some((one) => one[0] === side && one[1] === power)
}

function loadOf(run: ConditionedRun, options: LearnDelayOptions): Float64Array {
  const load = new Float64Array(run.count)
  for (let i = 0; i < run.count; i++) {
    const kpa = run.mapKpa[i]
    const throttle = run.throttlePct[i] - options.throttleRestPct
    load[i] = !Number.isNaN(kpa)
      ? kpa / options.barometerKpa
      : throttle >= -5
        ? flowFigure(Math.max(600, run.rpm[i]), Number.NaN, Math.max(0, throttle), 1) /
          Math.max(600, run.rpm[i])
        : Number.NaN
  }
  return load
}

function pointsOf({ start, end, count }: DelayWindows): number {
  let points = 0
  for (let w = 0; w < count; w++) points += end[w] - start[w]
  return points
}

/** Leaves out windows in which λ is missing: a gap or a cold sensor would look like a move. */
function dropUnread(run: ConditionedRun, windows: DelayWindows): DelayWindows {
  const { lambda, lambdaS, lambdaCount, timeS } = run
  const start: number[] = []
  const end: number[] = []
  let k = 0
  for (let w = 0; w < windows.count; w++) {
    const fromS = timeS[windows.start[w]]
    const toS = timeS[windows.end[w] - 1] + 1
    while (k > 0 && lambdaS[k] > fromS) k--
    while (k < lambdaCount && lambdaS[k] < fromS) k++
    let lastS = fromS
    let isWhole = k < lambdaCount
    for (let i = k; i < lambdaCount && lambdaS[i] <= toS; i++) {
      if (Number.isNaN(lambda[i])) continue
      if (lambdaS[i] - lastS > 0.25) isWhole = false
      lastS = lambdaS[i]
    }
    if (toS - lastS > 0.3) isWhole = false
    if (!isWhole) continue
    start.push(windows.start[w])
    end.push(windows.end[w])
  }
  const kept = start.length / Math.max(1, windows.count)
  return {
    start: Int32Array.from(start),
    end: Int32Array.from(end),
    count: start.length,
    events: Math.round(windows.events * kept),
  }
}

/** Number of the newest reading when each window begins, 0 if there was none: windows lie far apart in a long run. */
function readingsAt({ timeS, lambdaS, lambdaCount }: ConditionedRun, windows: DelayWindows): Int32Array {
  const at = new Int32Array(windows.count)
  let k = 0
  for (let w = 0; w < windows.count; w++) {
    while (k < lambdaCount - 2 && lambdaS[k + 1] <= timeS[windows.start[w]]) k++
    at[w] = k
  }
  return at
}

interface Search {
  setLag(lagS: number): void
  /** Log likelihood with prior of a law whose total delay is pure + lag + b/x. */
  score(flow: FlowModel, pureS: number, b: number): number
}

function createSearch(
  run: ConditionedRun,
  load: Float64Array,
  windows: DelayWindows,
  all: DelayWindows,
  options: LearnDelayOptions,
  before: DelayLaw,
): Search | undefined {
  if (pointsOf(windows) < LEAST_ROWS) return undefined
  const { count, timeS } = run
  const flowSum = new Float64Array(count)
  const figure = new Float64Array(count)
  for (let i = 0; i < count; i++) {
    figure[i] = flowFigure(run.rpm[i], load[i] * options.barometerKpa, Number.NaN, options.barometerKpa)
    if (i > 0) flowSum[i] = flowSum[i - 1] + figure[i] * Math.min(0.5, timeS[i] - timeS[i - 1])
  }
  const signals = createRegressorSignals(run, load, windows, {
    throttleRestPct: options.throttleRestPct,
    restPct: 1.5,
    overrunRpm: 1.4 * options.warmIdleRpm,
  })
  let lagS = PRIOR_LAG_S
  let x: Regressors | undefined
  let factor: Float64Array = new Float64Array(0)
  let right = new Float64Array(0)
  let y = new Float64Array(0)
  const hasEarlier = options.earlier !== undefined
  const sdB = hasEarlier ? EARLIER_B_LOG_SD : PRIOR_B_LOG_SD
  const sdA = hasEarlier ? EARLIER_A_SD_S : PRIOR_A_SD_S
  const readingAt = readingsAt(run, windows)
  // A part of the windows speaks for all of them.
  const readings = pointsOf(all) / ROWS_PER_READING
  const phi = new Float64Array(run.lambdaCount)
  let lastPhi = 1
  for (let i = 0; i < run.lambdaCount; i++) {
    const lambda = run.lambda[i]
    if (!Number.isNaN(lambda)) lastPhi = 1 / Math.min(LEAN_END_LAMBDA, lambda)
    phi[i] = lastPhi
  }

  function setLag(next: number): void {
    lagS = next
    x = undefined
  }

  /** The model as seen through the lag, worked out when first a law is tried with it. */
  function designNow(): Regressors {
    if (x) return x
    x = signals.through(lagS)
    factor = factorise(x)
    right = new Float64Array(x.columns)
    y = new Float64Array(x.rows)
    return x
  }

  /** When each row's gas reaches the sensor by the pipe alone, s. Laws are tried beside each other, so the last few are kept. */
  const known: { flow: FlowModel; b: number; arrivalS: Float64Array }[] = []

  function arrivalsOf(design: Regressors, flow: FlowModel, b: number): Float64Array {
    const found = known.findIndex((each) => each.flow === flow && each.b === b)
    if (found >= 0) {
      const [entry] = known.splice(found, 1)
      known.push(entry)
      return entry.arrivalS
    }
    const arrivalS = known.length === KEPT_ARRIVALS ? known.shift()!.arrivalS : new Float64Array(design.rows)
    known.push({ flow, b, arrivalS })
    if (flow === 'cause') arrivalsByCause(arrivalS, design, b)
    else if (flow === 'plug') arrivalsByFlow(arrivalS, design, b)
    else arrivalsByArrival(arrivalS, design, b)
    keepOrder(arrivalS, design)
    return arrivalS
  }

  function arrivalsByCause(arrivalS: Float64Array, { rows, runIndex }: Regressors, b: number): void {
    for (let row = 0; row < rows; row++) {
      const i = runIndex[row]
      arrivalS[row] = Math.min(timeS[i] + MOST_PIPE_S, timeS[i] + b / figure[i])
    }
  }

  function arrivalsByFlow(arrivalS: Float64Array, { rows, runIndex, windowOf }: Regressors, b: number): void {
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
    { rows, runIndex, windowOf }: Regressors,
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
  function keepOrder(arrivalS: Float64Array, { rows, windowOf }: Regressors): void {
    for (let row = 1; row < rows; row++) {
      if (windowOf[row] === windowOf[row - 1] && arrivalS[row] < arrivalS[row - 1])
        arrivalS[row] = arrivalS[row - 1]
    }
  }

  /** 1/λ at the arrival of each row's gas, window means taken out; returns its sum of squares. */
  function layReadings(design: Regressors, flow: FlowModel, pureS: number, b: number): number {
    const { rows, windowOf, stepS } = design
    const arrivals = arrivalsOf(design, flow, b)
    const { lambdaS, lambdaCount } = run
    let square = 0
    for (let row = 0; row < rows; ) {
      const window = windowOf[row]
      const from = row
      let k = readingAt[window]
      for (; row < rows && windowOf[row] === window; row++) {
        const arrivalS = arrivals[row] + pureS
        while (k > 0 && lambdaS[k] > arrivalS) k--
        while (k < lambdaCount - 2 && lambdaS[k + 1] <= arrivalS) k++
        const share = Math.min(1, Math.max(0, (arrivalS - lambdaS[k]) / (lambdaS[k + 1] - lambdaS[k])))
        y[row] = phi[k] + share * (phi[k + 1] - phi[k])
      }
      const mean = quickPart(y, from, row, stepS)
      for (let r = from; r < row; r++) {
        y[r] -= mean
        square += y[r] * y[r]
      }
    }
    return square
  }

  return {
    setLag,
    score(flow, pureS, b) {
      const design = designNow()
      const square = layReadings(design, flow, pureS, b)
      const { rows, columns, values } = design
      for (let c = 0; c < columns; c += 4) {
        multiplyFour(right, c, Math.min(4, columns - c), values, rows, y, 0)
      }
      const explained = explainedSquare(factor, right, columns)
      const left = Math.max(1e-9, 1 - explained / square)
      const fit = (-readings / 2) * Math.log(left)
      const offB = Math.log(b / before.bSRpmKpa) / sdB
      const offA = (pureS + lagS - before.aS) / sdA
      const offLag = Math.log(lagS / PRIOR_LAG_S) / PRIOR_LAG_LOG_SD
      const negative = pureS < 0 ? (pureS / 0.01) ** 2 : 0
      return fit - (offB * offB + offA * offA + offLag * offLag + negative) / 2
    },
  }
}

/**
 * Products of up to four columns, from column `from`, with one other, into `out` from `at`. Side by side, since each sum must wait for its last
 * addition; none of them is added up in another order for that.
 */
function multiplyFour(
  out: Float64Array,
  at: number,
  many: number,
  values: Float64Array,
  rows: number,
  other: Float64Array,
  otherAt: number,
  from = at,
): void {
  let one = 0
  let two = 0
  let three = 0
  let four = 0
  const a = from * rows
  // Of columns that are not there, the last one is taken again.
  const b = a + Math.min(1, many - 1) * rows
  const c = a + Math.min(2, many - 1) * rows
  const d = a + (many - 1) * rows
  for (let r = 0; r < rows; r++) {
    const y = other[otherAt + r]
    one += values[a + r] * y
    two += values[b + r] * y
    three += values[c + r] * y
    four += values[d + r] * y
  }
  out[at] = one
  if (many > 1) out[at + 1] = two
  if (many > 2) out[at + 2] = three
  if (many > 3) out[at + 3] = four
}

/** Cholesky factor of XᵀX with a small ridge, lower triangle, row after row. */
function factorise({ rows, columns, values }: Regressors): Float64Array {
  const l = new Float64Array(columns * columns)
  for (let i = 0; i < columns; i++) {
    for (let j = 0; j <= i; j += 4) {
      multiplyFour(l, i * columns + j, Math.min(4, i + 1 - j), values, rows, values, i * rows, j)
    }
  }
  for (let i = 0; i < columns; i++) l[i * columns + i] += RIDGE * (l[i * columns + i] + 1)
  for (let i = 0; i < columns; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = l[i * columns + j]
      for (let k = 0; k < j; k++) sum -= l[i * columns + k] * l[j * columns + k]
      l[i * columns + j] = i === j ? Math.sqrt(Math.max(sum, 1e-12)) : sum / l[j * columns + j]
    }
  }
  return l
}

/** Square of the part of y that the columns explain: |L⁻¹ Xᵀy|². Overwrites `right`. */
function explainedSquare(l: Float64Array, right: Float64Array, columns: number): number {
  let square = 0
  for (let i = 0; i < columns; i++) {
    let sum = right[i]
    for (let k = 0; k < i; k++) sum -= l[i * columns + k] * right[k]
    right[i] = sum / l[i * columns + i]
    square += right[i] * right[i]
  }
  return square
}
