import { GATE_RANGE } from '../../core/tuning/gateScale.ts'

/** What a gate shows: distances from target in λ, positive is lean; NaN = not known. */
export interface GateReading {
  /** λ − target. */
  error: number
  /** Allowed distance to the rich side, positive. */
  bandRich: number
  /** Allowed distance to the lean side, positive. */
  bandLean: number
  /** Least and most distance of the last ten seconds. */
  least?: number
  most?: number
  /** 95 % interval of the distance. */
  interval?: readonly [number, number] | null
}

/** Half the scale's width in λ, and the distance of its ticks. */
export const gateRange = GATE_RANGE
export const gateTick = 0.05

/** Place of a distance on a scale `length` long with `margin` at both ends; beyond the scale it stays at its end. */
export function gatePlace(distance: number, length: number, margin: number, range = gateRange): number {
  const share = (Math.min(range, Math.max(-range, distance)) + range) / (2 * range)
  return margin + share * (length - 2 * margin)
}

/** Ticks of the scale that do not stand inside the band, where the strip stays empty. */
export function gateTicks(bandRich: number, bandLean: number, range = gateRange): number[] {
  const ticks: number[] = []
  const steps = Math.round(range / gateTick)
  for (let i = -steps; i <= steps; i++) {
    const at = i * gateTick
    if (Number.isNaN(bandRich) || at < -bandRich || at > bandLean) ticks.push(at)
  }
  return ticks
}
