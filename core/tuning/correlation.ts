/** One residual of a steady piece, with its place in time. */
export interface Residual {
  /** Pieces correlate only within a series (one run, one state, one bank). */
  series: number
  timeS: number
  /** Residual divided by its state's spread. */
  value: number
  seconds: number
}

/** How strongly two steady pieces of a state still agree after a time. */
export interface Correlation {
  /** Upper edges of the lag classes, s; the last is infinite. */
  readonly edgesS: readonly number[]
  /** Correlation of each class, falling, 0…1. */
  readonly share: readonly number[]
  /** Variance of the residuals' process in units of the spread, 1 when the drift is faster than the run. */
  readonly sill: number
}

/** Lag classes, s: doubling, since a drift of minutes matters as much as a ripple of seconds. Chosen here. */
const EDGES_S: readonly number[] = [1.5, 3, 6, 12, 25, 50, 100, 200, Number.POSITIVE_INFINITY]
/** Middles of the classes, at which the assumed correlation is read. */
const MIDDLES_S = [1, 2, 4, 8.5, 17, 35, 70, 140, 400]

/**
 * Correlation assumed before a run has told its own: half of the variance lasts a few seconds (road, film on the walls), a
 * quarter about a minute (temperature, sensor); the rest is white. Common practice, no source.
 */
function assumedShare(lagS: number): number {
  return 0.5 * Math.exp(-lagS / 4) + 0.25 * Math.exp(-lagS / 60)
}
/** Weight of the assumption, in independent pairs. */
const ASSUMED_PAIRS = 6
/** Sill assumed against the spread seen in one run: what drifts slower than the run is long. Common practice, no source. */
const ASSUMED_SILL = 1.3

/**
 * Correlation of residuals against time lag, from half the mean squared difference of pairs (the variogram): unlike an
 * autocovariance it is not biased by the mean that was taken out, so slow drift between visits is not hidden. Classes with few
 * independent pairs lean on an assumed shape. Cost: pairs within a series, so callers merge long runs first.
 */
export function estimateCorrelation(residuals: readonly Residual[]): Correlation {
  const classes = EDGES_S.length
  const sum = new Float64Array(classes)
  const weight = new Float64Array(classes)
  const bySeries = new Map<number, Residual[]>()
  for (const residual of residuals) {
    const list = bySeries.get(residual.series)
    if (list) list.push(residual)
    else bySeries.set(residual.series, [residual])
  }
  let totalS = 0
  let spread = 0
  for (const list of bySeries.values()) {
    for (let i = 0; i < list.length; i++) {
      const a = list[i]
      totalS += a.seconds
      spread += a.seconds * a.value * a.value
      for (let j = i + 1; j < list.length; j++) {
        const b = list[j]
        const lagS = Math.abs(b.timeS - a.timeS)
        let k = 0
        while (lagS > EDGES_S[k]) k++
        const w = a.seconds * b.seconds
        sum[k] += (w * (a.value - b.value) ** 2) / 2
        weight[k] += w
      }
    }
  }
  const meanSquare = totalS > 0 ? spread / totalS : 1
  const gamma: number[] = []
  const pairs: number[] = []
  for (let k = 0; k < classes; k++) {
    gamma.push(weight[k] > 0 ? sum[k] / weight[k] : Number.NaN)
    // Pairs at a lag repeat each other: about the steady time divided by the lag are independent.
    pairs.push(weight[k] > 0 ? Math.min(totalS / MIDDLES_S[k], 2000) : 0)
  }
  // The sill is the variance of values far apart; never taken below the spread that was seen.
  let farSum = 0
  let farPairs = 0
  for (let k = classes - 3; k < classes; k++) {
    if (pairs[k] > 0) {
      farSum += pairs[k] * gamma[k]
      farPairs += pairs[k]
    }
  }
  const sill = Math.max(
    meanSquare,
    (farSum + ASSUMED_PAIRS * meanSquare * ASSUMED_SILL) / (farPairs + ASSUMED_PAIRS),
    1e-12,
  )
  const share: number[] = []
  for (let k = 0; k < classes; k++) {
    const assumed = assumedShare(MIDDLES_S[k])
    const seen = pairs[k] > 0 ? 1 - gamma[k] / sill : 0
    const mixed = (pairs[k] * seen + ASSUMED_PAIRS * assumed) / (pairs[k] + ASSUMED_PAIRS)
    const bounded = Math.min(1, Math.max(0, mixed))
    share.push(k > 0 ? Math.min(share[k - 1], bounded) : bounded)
  }
  return { edgesS: EDGES_S, share, sill }
}

/**
 * Variance of Σ wᵢ eᵢ for residuals of unit spread with this correlation, the weights given per piece (zero weights are passed
 * over). Never below the value for uncorrelated pieces divided by four, which guards against a negative form.
 */
export function varianceOfSum(
  correlation: Correlation,
  pieces: readonly { series: number; timeS: number }[],
  weights: ArrayLike<number>,
): number {
  const { edgesS, share } = correlation
  let own = 0
  let cross = 0
  for (let i = 0; i < pieces.length; i++) {
    const wi = weights[i]
    if (wi === 0) continue
    own += wi * wi
    const a = pieces[i]
    for (let j = i + 1; j < pieces.length; j++) {
      const b = pieces[j]
      if (b.series !== a.series) break
      const wj = weights[j]
      if (wj === 0) continue
      const lagS = Math.abs(b.timeS - a.timeS)
      let k = 0
      while (lagS > edgesS[k]) k++
      cross += wi * wj * share[k]
    }
  }
  return correlation.sill * Math.max(own + 2 * cross, own / 4)
}
