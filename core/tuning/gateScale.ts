import type { CircuitVerdict } from './circuitVerdict.ts'

/** Scale of a gate: λ minus target to either side. */
export const GATE_RANGE = 0.15
/** A wider scale ends at one of so many marks in 1 of λ, and leaves so much beyond the widest band for what lies outside it, λ. Chosen here. */
const MARKS = 20
const ROOM = 0.03

/** Scale on which all these bands stand with their posts, the usual one unless a band is wider; for gates one above the other. */
export function gateRangeFor(bands: readonly { bandRich: number; bandLean: number }[]): number {
  let widest = 0
  for (const { bandRich, bandLean } of bands) {
    for (const band of [bandRich, bandLean]) if (band > widest) widest = band
  }
  return Math.max(GATE_RANGE, Math.ceil((widest + ROOM) * MARKS - 1e-9) / MARKS)
}

/** True when a circuit's gate has its posts: an empty gate says "on target", so without a figure behind it none are drawn. */
export const hasPosts = ({ verdict, error }: CircuitVerdict) =>
  verdict === 'on_target' || (verdict !== 'not_enough_data' && !Number.isNaN(error))
