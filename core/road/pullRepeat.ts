import type { Pull, PullRepeat } from '../contract/result.ts'
import { studentQuantile } from '../tuning/distributions.ts'

/** Pulls whose ends differ more than this share in engine speed are not the same pull again; common practice, no source. */
const SAME_SPEED_SHARE = 0.15
/** Width of a step of engine speed in the band, rpm. */
const STEP_RPM = 200
const LEAST_PULLS = 2

interface CurvePoint {
  rpm: number
  wheel_kW: number | null
}

/**
 * How well a run's pulls repeat: mean of their peaks at the wheels with the half width of its 95 % interval, and mean and scatter over engine speed
 * where at least two of them give power. Null with fewer than two like pulls.
 */
export function pullRepeat(pulls: readonly Pull[]): PullRepeat | null {
  const withPower = pulls.filter(({ peak_kW }) => peak_kW !== null)
  const like = largestGroup(withPower)
  if (like.length < LEAST_PULLS) return null
  const peaks = summarise(like.map(({ peak_kW }) => peak_kW!))
  const steps = new Map<number, number[]>()
  for (const { curve } of like) {
    for (const { rpm, wheel_kW } of (curve ?? []) as CurvePoint[]) {
      if (wheel_kW === null) continue
      const key = Math.round(rpm / STEP_RPM) * STEP_RPM
      steps.set(key, [...(steps.get(key) ?? []), wheel_kW])
    }
  }
  const band = [...steps]
    .filter(([, powers]) => powers.length >= LEAST_PULLS)
    .sort(([a], [b]) => a - b)
    .map(([rpm, powers]) => {
      const { mean, sd } = summarise(powers)
      return { rpm, wheel_kW: mean, scatter_kW: sd }
    })
  return {
    pulls: like.length,
    peak_kW: peaks.mean,
    scatter_kW: peaks.sd,
    half_band_kW: (tAt975(like.length - 1) * peaks.sd) / Math.sqrt(like.length),
    band,
  }
}

/** Student's t at 97.5 %: one and two degrees of freedom in closed form, for which the series of more is too rough. */
function tAt975(freedom: number): number {
  if (freedom === 1) return Math.tan(Math.PI * 0.475)
  if (freedom === 2) return 0.95 * Math.sqrt(2 / (1 - 0.95 ** 2))
  return studentQuantile(0.975, freedom)
}

/** The most pulls that end near the same engine speed. */
function largestGroup(pulls: readonly Pull[]): readonly Pull[] {
  let best: readonly Pull[] = []
  for (const { rpm_to } of pulls) {
    const near = pulls.filter((pull) => Math.abs(pull.rpm_to / rpm_to - 1) <= SAME_SPEED_SHARE)
    if (near.length > best.length) best = near
  }
  return best
}

function summarise(values: readonly number[]): { mean: number; sd: number } {
  const mean = values.reduce((a, b) => a + b, 0) / values.length
  const square = values.reduce((sum, value) => sum + (value - mean) ** 2, 0)
  return { mean, sd: Math.sqrt(square / (values.length - 1)) }
}
