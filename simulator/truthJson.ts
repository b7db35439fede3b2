import type { Truth } from './truth.ts'

const decimals = 5

/** Truth as plain JSON: columns as arrays of rounded numbers, infinities and NaN as null. */
export function truthToJson(truth: Truth): string {
  const round = (value: number) => (Number.isFinite(value) ? Number(value.toFixed(decimals)) : null)
  return JSON.stringify({ format: 'floatbowl-truth 1', ...truth }, (_key, value: unknown) => {
    if (value instanceof Float32Array || value instanceof Float64Array) return Array.from(value, round)
    if (value instanceof Uint8Array) return Array.from(value)
    if (typeof value === 'number') return round(value)
    return value
  })
}
