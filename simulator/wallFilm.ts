/** Share of the metered fuel that lands on the wall, and the time in which the film evaporates. */
export interface FilmParameters {
  share: number
  timeS: number
}

const clamp = (value: number, low: number, high: number) => (value < low ? low : Math.min(value, high))

/**
 * Fit of Hendricks and Sorenson for a small warm four-cylinder with central injection, bounded to 300 … 4500 rpm and
 * 0.2 … 1.0 bar, where it is meant to hold.
 */
export function injectedFilmInto(target: FilmParameters, rpm: number, manifoldBar: number): void {
  const n = clamp(rpm, 300, 4500) / 1000
  const p = clamp(manifoldBar, 0.2, 1)
  const timeS = 1.35 * (-0.672 * n + 1.68) * (p - 0.825) ** 2 + (-0.06 * n + 0.15) + 0.56
  target.timeS = Math.max(timeS, 0.2)
  target.share = Math.max(-0.277 * p - 0.055 * n + 0.68, 0.12)
}

/**
 * Film of a warm carburettor on a heated manifold: in the published ranges (share 0.3 … 0.6, time 0.4 … 1.5 s), share falling with
 * flow; the time is longest at idle, and a dense charge evaporates the film more slowly than a thin one. Figures chosen here.
 */
export function carburettorFilmInto(target: FilmParameters, rpm: number, manifoldBar: number): void {
  const n = clamp(rpm, 300, 4500) / 1000
  const p = clamp(manifoldBar, 0.2, 1)
  const speedTerm = Math.max(-0.672 * n + 1.68, 0)
  target.timeS = 0.45 + 0.15 * p + 0.8 * speedTerm * (p - 0.825) ** 2
  target.share = 0.56 - 0.04 * n - 0.06 * p
}

/** Raises both figures for a cold wall: `cold` 0 warm, 1 at 20 °C, 1.5 below freezing (ranges of the reference, no source). */
export function coolFilm(target: FilmParameters, cold: number): void {
  const share = target.share + (0.88 - target.share) * cold * 0.7
  target.share = Math.min(share, 0.92)
  target.timeS *= 1 + 2.2 * cold
}

/** λ at time `t` after air and metered fuel step up together by `step` (0.2 = 20 %), from λ = 1, film settled before: closed form. */
export function lambdaAfterStep(share: number, timeS: number, step: number, t: number): number {
  const air = 1 + step
  return air / ((1 - share) * air + share * (1 + step * (1 - Math.exp(-t / timeS))))
}
