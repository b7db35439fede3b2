import type { LineCounts } from '../contract/samples.ts'

/** Counters before the first line. */
export function noLines(): LineCounts {
  return {
    lines: 0,
    samples: 0,
    badChecksum: 0,
    unreadable: 0,
    missingSamples: 0,
    undeclared: 0,
    restarts: 0,
  }
}

/** Sum of two decoders' counters. */
export function addCounts(a: LineCounts, b: LineCounts): LineCounts {
  const sum = { ...b }
  for (const key of Object.keys(noLines()) as (keyof LineCounts)[]) sum[key] = a[key] + b[key]
  return sum
}
