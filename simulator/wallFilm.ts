/** Share of the metered fuel that lands on the wall, and the time in which the film evaporates. */
export interface FilmParameters {
  share: number
  timeS: number
}

/**
 * Wall-film parameters of a warm engine with central fuelling, after the fit of Hendricks and Sorenson, bounded to 300 … 4500 rpm and
 * 0.2 … 1.0 bar; `cold` 0 (warm) … 1.3 (freezing) raises both, which is common practice, no source.
 */
export function filmParametersInto(
  target: FilmParameters,
  rpm: number,
  manifoldBar: number,
  cold: number,
): void {
  const n = (rpm < 300 ? 300 : Math.min(rpm, 4500)) / 1000
  const p = manifoldBar < 0.2 ? 0.2 : Math.min(manifoldBar, 1)
  const speedTerm = -0.672 * n + 1.68
  const warmTimeS = 1.35 * Math.max(speedTerm, 0) * (p - 0.825) ** 2 + Math.max(-0.06 * n + 0.15, 0) + 0.56
  const warmShare = Math.max(-0.277 * p - 0.055 * n + 0.68, 0.12)
  const share = warmShare + (0.88 - warmShare) * cold * 0.7
  target.share = Math.min(share, 0.92)
  target.timeS = warmTimeS * (1 + 2.2 * cold)
}

/** λ at time `t` after air and metered fuel step up together by `step` (0.2 = 20 %), from λ = 1, film settled before: closed form. */
export function lambdaAfterStep(share: number, timeS: number, step: number, t: number): number {
  const air = 1 + step
  return air / ((1 - share) * air + share * (1 + step * (1 - Math.exp(-t / timeS))))
}
