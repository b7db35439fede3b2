/** Share of the standard normal distribution below z. Absolute error under 2e-7 (Abramowitz and Stegun 7.1.26). NaN gives NaN. */
export function normalCdf(z: number): number {
  const x = Math.abs(z) / Math.SQRT2
  const t = 1 / (1 + 0.3275911 * x)
  const poly =
    t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
  const upper = 0.5 * poly * Math.exp(-x * x)
  return z >= 0 ? 1 - upper : upper
}

/** Density of the standard normal distribution at z. */
export function normalDensity(z: number): number {
  return Math.exp(-0.5 * z * z) / Math.sqrt(2 * Math.PI)
}

/** z with the share p below it, by bisection on `normalCdf`; p outside (0, 1) throws `RangeError`. */
export function normalQuantile(p: number): number {
  if (!(p > 0 && p < 1)) throw new RangeError(`invalid share: ${p} (expected above 0 and below 1)`)
  let low = -8
  let high = 8
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2
    if (normalCdf(middle) < p) low = middle
    else high = middle
  }
  return (low + high) / 2
}

/**
 * Quantile of Student's t with `freedom` degrees of freedom (1 or more), from the normal one by the series of Abramowitz and
 * Stegun 26.7.5: within 0.2 % from 4 degrees up at the 97.5 % point.
 */
export function studentQuantile(p: number, freedom: number): number {
  if (!(freedom >= 1)) throw new RangeError(`invalid freedom: ${freedom} (expected 1 or more)`)
  const z = normalQuantile(p)
  if (freedom > 1e6) return z
  const z2 = z * z
  const g1 = (z * (z2 + 1)) / 4
  const g2 = (z * ((5 * z2 + 16) * z2 + 3)) / 96
  const g3 = (z * (((3 * z2 + 19) * z2 + 17) * z2 - 15)) / 384
  const g4 = (z * ((((79 * z2 + 776) * z2 + 1482) * z2 - 1920) * z2 - 945)) / 92160
  return z + g1 / freedom + g2 / freedom ** 2 + g3 / freedom ** 3 + g4 / freedom ** 4
}

/** Two-sided tail share of a value `t` of Student's distribution, by bisection on the quantile; 1 for 0, NaN for NaN. */
export function studentTail(t: number, freedom: number): number {
  if (Number.isNaN(t)) return Number.NaN
  const size = Math.abs(t)
  let low = 1e-9
  let high = 1
  for (let i = 0; i < 50; i++) {
    const middle = Math.sqrt(low * high)
    if (studentQuantile(1 - middle / 2, freedom) > size) low = middle
    else high = middle
  }
  return Math.min(1, Math.sqrt(low * high))
}
