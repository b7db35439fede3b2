/** Mean of the numbers; NaN for none, or where one is NaN. */
export function meanOf(values: readonly number[]): number {
  return values.length > 0 ? values.reduce((sum, value) => sum + value, 0) / values.length : Number.NaN
}

/** Median of the values that are finite numbers, between the two middle ones where their count is even; NaN for none. Leaves `values` as they are. */
export function medianOf(values: readonly (number | null | undefined)[]): number {
  const sorted = values.filter((value): value is number => Number.isFinite(value)).sort((a, b) => a - b)
  const half = sorted.length >> 1
  if (sorted.length % 2 === 1) return sorted[half]
  return sorted.length > 0 ? (sorted[half - 1] + sorted[half]) / 2 : Number.NaN
}
