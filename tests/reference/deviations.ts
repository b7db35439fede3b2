import { afterAll, expect } from 'vitest'

/** Compares figures within a tolerance and prints the largest deviation of each quantity once the file is done. */
export interface Deviations {
  /** Fails unless |got − wanted| ≤ tolerance, in the quantity's own unit. */
  near(quantity: string, got: number, wanted: number, tolerance: number, at?: string): void
  /** The same with the tolerance as a share of `wanted`. */
  nearShare(quantity: string, got: number, wanted: number, share: number, at?: string): void
}

interface Largest {
  count: number
  deviation: number
  tolerance: number
  at: string
}

/** One for each topic, at the top of a test file. */
export function createDeviations(topic: string): Deviations {
  const largest = new Map<string, Largest>()
  afterAll(() => {
    const lines = [...largest].map(
      ([quantity, { count, deviation, tolerance, at }]) =>
        `  ${quantity}: ${deviation.toPrecision(3)} (allowed ${tolerance.toPrecision(3)}) at ${at}, ${count} points`,
    )
    process.stdout.write(`largest deviations, ${topic}\n${lines.join('\n')}\n`)
  })
  const near: Deviations['near'] = (quantity, got, wanted, tolerance, at = String(wanted)) => {
    const deviation = Math.abs(got - wanted)
    const before = largest.get(quantity)
    if (!before || !(deviation / tolerance <= before.deviation / before.tolerance)) {
      largest.set(quantity, { count: (before?.count ?? 0) + 1, deviation, tolerance, at })
    } else before.count++
    expect(deviation, `${quantity} at ${at}: got ${got}, wanted ${wanted}`).toBeLessThanOrEqual(tolerance)
  }
  return {
    near,
    nearShare: (quantity, got, wanted, share, at) =>
      near(quantity, got, wanted, share * Math.abs(wanted), at),
  }
}
