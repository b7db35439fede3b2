/** Steps of a clock that are easily read, s. */
export const clockSteps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400]

/** Whether an axis of this name is one of time, which is told in minutes and seconds. */
export const isTimeAxis = (xLabel: string) => /^time/.test(xLabel)

/**
 * Round values within `[from, to]`, at most `most` of them: 1, 2 or 5 times a power of ten; of a time of a second and more those of a clock.
 * Empty for a span that is none.
 */
export function axisTicks(from: number, to: number, most: number, isTime = false): number[] {
  const span = to - from
  if (!(span > 0) || most < 1) return []
  const step =
    (isTime && clockSteps.find((each) => each >= 1 && span / each <= most && span >= 2)) ||
    roundStep(span / most)
  const ticks: number[] = []
  // A zero added takes the minus from a zero.
  for (let k = Math.ceil(from / step - 1e-9); k * step <= to + 1e-9 * span; k++) ticks.push(k * step + 0)
  return ticks
}

function roundStep(least: number): number {
  const power = 10 ** Math.floor(Math.log10(least))
  return ([1, 2, 5].find((factor) => factor * power >= least * (1 - 1e-9)) ?? 10) * power
}

/** Decimals with which neighbouring ticks differ. */
export function tickDecimals(ticks: readonly number[]): number {
  if (ticks.length < 2) return 2
  return Math.min(6, Math.max(0, -Math.floor(Math.log10(ticks[1] - ticks[0]) + 1e-9)))
}
