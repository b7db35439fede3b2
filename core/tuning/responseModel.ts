import type { Fitted } from '../contract/car.ts'
import { type AdviceState, adviceStates, type FuelPath, pathFactor } from './partPaths.ts'

/** One run as the model learns from it: what was fitted, and the states' mean log λ at reference air. */
export interface Observation {
  readonly fitted: Fitted
  /** Standard deviation common to this run's states (sensor of the day, air), log λ; default `repeatabilityShare`. */
  readonly daySd?: number
  readonly logLambda: Readonly<Partial<Record<AdviceState, { mean: number; se: number }>>>
}

export interface ResponseOptions {
  /** Day-to-day standard deviation of log λ, common to the states of one run. */
  repeatabilityShare: number
  /** Error of the model itself, as a share of the shift it foretells: jets are no ideal openings. */
  modelShare: number
  /**
   * Log λ that what is no opening (a valve's opening vacuum) adds in a state with these parts against today's, with its doubt.
   * Default: none.
   */
  extraShift?: (state: AdviceState, fitted: Fitted) => Forecast
}

export interface Forecast {
  /** Mean log λ. */
  mean: number
  sd: number
}

/** What this car is known to do: level of each state with today's parts, and the share of its fuel on each path. */
export interface ResponseModel {
  readonly base: Fitted
  readonly paths: readonly FuelPath[]
  /** Log λ of a state with these parts; undefined when the state was never seen. */
  forecast(state: AdviceState, fitted: Fitted): Forecast | undefined
  /** Share of a state's fuel on a path, mean and sd; undefined when the path does not feed the state. */
  share(state: AdviceState, pathId: string): { mean: number; sd: number } | undefined
}

/** Correlation of one path's shares between states before any swap: a car with a strong main circuit has it everywhere. */
const SHARE_CORRELATION = 0.6
/**
 * Correlation of the shares of two jets in one state: what does not pass one passes another, so their sum is known better than each of them. With
 * the spreads before any swap the sum of main, power and secondary is known to about ± 0.15. Common practice, no source.
 */
const RIVAL_CORRELATION = -0.38
/** Spread of a state's level before it is seen, in log λ: wide enough to know nothing. */
const LEVEL_SD = 0.5
/** Shares learned are held inside these, so that a freak run cannot turn the sign of a jet. */
const LEAST_SHARE = 0.01
const MOST_SHARE = 1.3
/** Least relative fuel that a forecast may reach; beyond it the linear sum of shares means nothing. */
const LEAST_FUEL = 0.25
const ITERATIONS = 8

/**
 * Bayesian estimate of how log λ of each state answers to the openings of the parts: fuel = Σ share × opening, shares with
 * priors that earlier swaps sharpen, levels relative to what is fitted now. Gauss-Newton to the most likely point, then the normal
 * approximation there. All states are one estimate, since a day's error is common to them and one path's shares are akin.
 */
export function learnResponse(
  observations: readonly Observation[],
  paths: readonly FuelPath[],
  options: ResponseOptions,
): ResponseModel {
  const base = observations[observations.length - 1].fitted
  // A screw in line with a fixed feed, or a bleed, has an effect and no share of a sum.
  const isJet = (path: FuelPath) => path.sense > 0 && base[path.part]?.turns === undefined
  const states = adviceStates.filter((state) => observations.some((entry) => entry.logLambda[state]))
  const levels = new Map<AdviceState, number>()
  const shares = new Map<string, number>()
  const prior: PriorEntry[] = []
  for (const state of states) {
    levels.set(state, prior.length)
    prior.push({ mean: 0, sd: LEVEL_SD, floor: Number.NEGATIVE_INFINITY })
  }
  for (const state of states) {
    for (const path of paths) {
      const share = path.share[state]
      if (!share) continue
      shares.set(`${state}/${path.id}`, prior.length)
      prior.push({
        mean: share[0],
        sd: share[1],
        path: path.id,
        state,
        isJet: isJet(path),
        floor: Math.min(LEAST_SHARE, share[0] / 4),
      })
    }
  }
  const size = prior.length
  const mostJoined = paths.filter(isJet).length
  const priorInverse = invert(
    Array.from({ length: size }, (_, i) =>
      Array.from({ length: size }, (_, j) => {
        if (i === j) return prior[i].sd ** 2
        return priorCorrelation(prior[i], prior[j], mostJoined) * prior[i].sd * prior[j].sd
      }),
    ),
  )

  const feeds = new Map(
    states.map((state) => [
      state,
      paths.flatMap((path) => {
        const index = shares.get(`${state}/${path.id}`)
        return index === undefined ? [] : [{ path, index }]
      }),
    ]),
  )

  /** Value and gradient of a state's log λ with some parts fitted; `touched` are the gradient's entries that are not 0. */
  function foretell(point: readonly number[], state: AdviceState, fitted: Fitted) {
    const gradient = new Float64Array(size)
    const levelIndex = levels.get(state)!
    const touched = [levelIndex]
    gradient[levelIndex] = 1
    let fuel = 1
    let screws = 0
    const terms: [number, number][] = []
    for (const { path, index } of feeds.get(state)!) {
      const factor = pathFactor(path, base, fitted, state)
      if (!Number.isFinite(factor) || factor === 1) continue
      touched.push(index)
      if (base[path.part]?.turns !== undefined) {
        // A tapered screw sits in line with a fixed feed: its effect flattens as it opens, as a power of the turns does.
        const move = path.sense * Math.log(factor)
        screws -= point[index] * move
        gradient[index] = -move
        continue
      }
      // A bleed's effect runs the other way and is weaker than its area: its share says how much.
      const move = path.sense > 0 ? factor - 1 : 1 / factor - 1
      fuel += point[index] * move
      terms.push([index, move])
    }
    const bounded = Math.max(LEAST_FUEL, fuel)
    for (const [index, move] of terms) gradient[index] = -move / bounded
    const extra = options.extraShift?.(state, fitted) ?? { mean: 0, sd: 0 }
    const shift = screws - Math.log(bounded)
    return { value: point[levelIndex] + shift + extra.mean, gradient, shift, extraSd: extra.sd, touched }
  }

  let point = prior.map((entry) => entry.mean)
  // A first guess of the levels: the newest run that saw the state.
  for (const state of states) {
    const seen = observations.findLast((entry) => entry.logLambda[state])!
    point[levels.get(state)!] = seen.logLambda[state]!.mean
  }
  let covariance: number[][] = []
  for (let iteration = 0; iteration < ITERATIONS; iteration++) {
    const normal = priorInverse.map((row) => [...row])
    const wanted = new Array<number>(size).fill(0)
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++) wanted[i] += priorInverse[i][j] * (prior[j].mean - point[j])
    }
    for (const observation of observations) {
      const seen = states.filter((state) => observation.logLambda[state])
      if (seen.length === 0) continue
      const told = seen.map((state) => foretell(point, state, observation.fitted))
      const noise = invert(
        seen.map((state, a) =>
          seen.map((_, b) => {
            const day = (observation.daySd ?? options.repeatabilityShare) ** 2
            if (a !== b) return day
            const model = options.modelShare * told[a].shift
            return day + observation.logLambda[state]!.se ** 2 + model * model + told[a].extraSd ** 2
          }),
        ),
      )
      for (const [a, state] of seen.entries()) {
        for (let b = 0; b < seen.length; b++) {
          const w = noise[a][b]
          const missB = observation.logLambda[seen[b]]!.mean - told[b].value
          void state
          for (let i = 0; i < size; i++) {
            const gi = told[a].gradient[i]
            if (gi === 0) continue
            wanted[i] += gi * w * missB
            for (let j = 0; j < size; j++) normal[i][j] += gi * w * told[b].gradient[j]
          }
        }
      }
    }
    covariance = invert(normal)
    point = point.map((value, i) => {
      let step = 0
      for (let j = 0; j < size; j++) step += covariance[i][j] * wanted[j]
      const moved = value + step
      return prior[i].path ? Math.min(MOST_SHARE, Math.max(prior[i].floor, moved)) : moved
    })
  }

  return {
    base,
    paths,
    forecast(state, fitted) {
      if (!levels.has(state)) return undefined
      const { value, gradient, shift, extraSd, touched } = foretell(point, state, fitted)
      let variance = (options.modelShare * shift) ** 2 + extraSd ** 2
      for (const i of touched) {
        const row = covariance[i]
        for (const j of touched) variance += gradient[i] * row[j] * gradient[j]
      }
      return { mean: value, sd: Math.sqrt(variance) }
    },
    share(state, pathId) {
      const index = shares.get(`${state}/${pathId}`)
      return index === undefined ? undefined : { mean: point[index], sd: Math.sqrt(covariance[index][index]) }
    },
  }
}

interface PriorEntry {
  mean: number
  sd: number
  floor: number
  /** Path and state of a share; none for a level. */
  path?: string
  state?: AdviceState
  isJet?: boolean
}

/** Correlation of two entries before any swap; `jets` are the paths whose shares add up. */
function priorCorrelation(a: PriorEntry, b: PriorEntry, jets: number): number {
  if (a.path === undefined || b.path === undefined) return 0
  const between = a.state === b.state ? 1 : SHARE_CORRELATION
  if (a.path === b.path) return between
  if (!a.isJet || !b.isJet) return 0
  // So many paths can at most be so much against each other.
  return between * Math.max(RIVAL_CORRELATION, -0.9 / (jets - 1))
}

/** Inverse of a symmetric positive matrix by Gauss-Jordan with pivots. */
function invert(matrix: readonly (readonly number[])[]): number[][] {
  const size = matrix.length
  const work = matrix.map((row, i) => [...row, ...Array.from({ length: size }, (_, j) => (i === j ? 1 : 0))])
  for (let column = 0; column < size; column++) {
    let pivot = column
    for (let row = column + 1; row < size; row++) {
      if (Math.abs(work[row][column]) > Math.abs(work[pivot][column])) pivot = row
    }
    const swap = work[column]
    work[column] = work[pivot]
    work[pivot] = swap
    const scale = work[column][column]
    if (scale === 0) throw new RangeError(`singular matrix at column ${column} (expected positive variances)`)
    for (let j = 0; j < 2 * size; j++) work[column][j] /= scale
    for (let row = 0; row < size; row++) {
      if (row === column || work[row][column] === 0) continue
      const times = work[row][column]
      for (let j = 0; j < 2 * size; j++) work[row][j] -= times * work[column][j]
    }
  }
  return work.map((row) => row.slice(size))
}
