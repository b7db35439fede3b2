/**
 * The mixture's slow wander as a few decays of time and a white rest, in units of the spread's square. Unlike a correlation found in classes of
 * lag it makes a covariance that is positive at any times.
 */
export interface WanderModel {
  readonly decays: readonly { readonly share: number; readonly tauS: number }[]
  /** White part of one second of driving. */
  readonly white: number
}

/** A residual of a few steady seconds, in spreads, with its place in time. */
export interface TimedResidual {
  /** Residuals are compared within a series only: one run, one state, one bank. */
  readonly series: number
  readonly timeS: number
  readonly seconds: number
  readonly value: number
}

/** Time constants of the decays, s: ripple of the road, wander of the mixture, drift of temperature and sensor. Chosen here. */
const TAUS_S: readonly number[] = [3, 10, 30, 120]
/** Shares assumed before a run has told its own. Common practice, no source. */
const ASSUMED: readonly number[] = [0.15, 0.2, 0.3, 0.13]
const ASSUMED_WHITE = 0.25
/** Weight of the assumption, in independent pairs. */
const ASSUMED_PAIRS = 5
/** Upper edges of the classes of lag, s. */
const EDGES_S: readonly number[] = [2, 4, 7, 12, 20, 35, 60, 120, 240]
/** Most independent pairs that one class counts for: classes repeat each other. Chosen here. */
const MOST_PAIRS = 60
/** Seconds under which a row's white part is taken as constant: readings closer than the sensor's lag agree. */
const LEAST_SECONDS = 0.3
const ROUNDS = 300

/**
 * Wander of residuals against time lag, from half the mean squared difference of pairs (the variogram): it is not biased by the
 * mean that was taken out, so drift between visits is not hidden. Least squares over classes of lag, no share below 0, leaning on an assumed
 * shape where pairs are few. Cost: the pairs within a series.
 */
export function estimateWander(residuals: readonly TimedResidual[]): WanderModel {
  const classes = collectPairs(residuals)
  const unknowns = TAUS_S.length + 1
  const prior = [...ASSUMED, ASSUMED_WHITE]
  const shares = [...prior]
  for (let round = 0; round < ROUNDS; round++) {
    for (let k = 0; k < unknowns; k++) {
      let up = ASSUMED_PAIRS * prior[k]
      let down = ASSUMED_PAIRS
      for (const { gamma, basis, pairs } of classes) {
        let rest = gamma
        for (let m = 0; m < unknowns; m++) if (m !== k) rest -= shares[m] * basis[m]
        up += pairs * rest * basis[k]
        down += pairs * basis[k] ** 2
      }
      shares[k] = Math.max(k === unknowns - 1 ? LEAST_WHITE : 0, up / down)
    }
  }
  return { decays: TAUS_S.map((tauS, k) => ({ tauS, share: shares[k] })), white: shares[unknowns - 1] }
}

/** Least white part: a sensor always has some. Common practice, no source. */
const LEAST_WHITE = 0.02

/** Half the mean squared difference of each class of lag, and what a unit of each share would make of it. */
function collectPairs(residuals: readonly TimedResidual[]) {
  const unknowns = TAUS_S.length + 1
  const sums = EDGES_S.map(() => ({ weight: 0, gamma: 0, basis: new Float64Array(unknowns), lagS: 0 }))
  let totalS = 0
  const ordered = [...residuals].sort((a, b) => a.series - b.series || a.timeS - b.timeS)
  for (let i = 0; i < ordered.length; i++) {
    const a = ordered[i]
    totalS += a.seconds
    for (let j = i + 1; j < ordered.length && ordered[j].series === a.series; j++) {
      const b = ordered[j]
      const lagS = b.timeS - a.timeS
      let k = 0
      while (k < EDGES_S.length && lagS > EDGES_S[k]) k++
      if (k === EDGES_S.length) break
      const sum = sums[k]
      const weight = a.seconds * b.seconds
      sum.weight += weight
      sum.lagS += weight * lagS
      sum.gamma += (weight * (a.value - b.value) ** 2) / 2
      for (let m = 0; m < TAUS_S.length; m++) sum.basis[m] += weight * (1 - Math.exp(-lagS / TAUS_S[m]))
      sum.basis[unknowns - 1] +=
        (weight * (1 / Math.max(a.seconds, LEAST_SECONDS) + 1 / Math.max(b.seconds, LEAST_SECONDS))) / 2
    }
  }
  return sums
    .filter((sum) => sum.weight > 0)
    .map((sum) => ({
      gamma: sum.gamma / sum.weight,
      basis: sum.basis.map((value) => value / sum.weight),
      // Pairs at a lag repeat each other: no more are independent than the pairs there are, or the time divided by the lag.
      pairs: Math.min(MOST_PAIRS, (totalS * sum.weight) / (sum.lagS + sum.weight), sum.weight / 4),
    }))
}

/** Covariance of two moments this far apart, without the white part. */
export function wanderAt(model: WanderModel, lagS: number): number {
  let sum = 0
  for (const { share, tauS } of model.decays) sum += share * Math.exp(-lagS / tauS)
  return sum
}

/**
 * Variance of a row of so many s. Rows count as moments for the decays, as they do where the shares are estimated, so that the covariance
 * of rows that overlap in time (two banks) stays positive.
 */
export function wanderOfRow(model: WanderModel, seconds: number): number {
  return model.decays.reduce((sum, { share }) => sum + share, model.white / Math.max(seconds, LEAST_SECONDS))
}

/** Variance of one second of driving. */
export function wanderOfSecond(model: WanderModel): number {
  return model.decays.reduce((sum, { share }) => sum + share, model.white)
}
