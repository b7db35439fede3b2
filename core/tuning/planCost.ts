import type { Target } from '../contract/car.ts'
import { normalCdf, normalDensity } from './distributions.ts'
import type { AdviceState } from './partPaths.ts'
import type { Forecast } from './responseModel.ts'

/** Allowed band of a state in log λ. */
export interface Band {
  readonly low: number
  readonly high: number
  readonly target: Target
}

export function bandOf(target: Target): Band {
  return { low: Math.log(target.lambda - target.rich), high: Math.log(target.lambda + target.lean), target }
}

/** What a state's true mean may differ by from the one measured (other roads, other cells), log λ. Common practice, no source. */
const ROAD_SD = 0.006
/** Lean under load destroys pistons: there the lean side counts so much more than the rich one. Chosen here. */
const LEAN_POWER_WEIGHT = 1.6
/** Furthest distance from the band that still counts, in half widths: beyond it, nearer is still better but never the whole story. */
const FURTHEST = 5

/** Share of the forecast inside the band. */
export function shareInside(forecast: Forecast, band: Band): number {
  const sd = Math.hypot(forecast.sd, ROAD_SD)
  return normalCdf((band.high - forecast.mean) / sd) - normalCdf((band.low - forecast.mean) / sd)
}

/**
 * What a forecast costs: the chance of being outside the band, the expected distance outside in half widths of the band, and a little
 * for being off its middle. Near 0 when surely inside, about 1 more for each half width outside.
 */
export function stateCost(state: AdviceState, forecast: Forecast, band: Band): number {
  const sd = Math.hypot(forecast.sd, ROAD_SD)
  const half = (band.high - band.low) / 2
  const middle = (band.high + band.low) / 2
  const zHigh = (forecast.mean - band.high) / sd
  const zLow = (band.low - forecast.mean) / sd
  const beyond = (z: number) => sd * (z * normalCdf(z) + normalDensity(z))
  const leanWeight = state === 'power' ? LEAN_POWER_WEIGHT : 1
  const lean = leanWeight * (normalCdf(zHigh) + Math.min(FURTHEST, beyond(zHigh) / half))
  const rich = normalCdf(zLow) + Math.min(FURTHEST, beyond(zLow) / half)
  const off = Math.min(2, Math.abs(forecast.mean - middle) / half)
  return lean + rich + 0.15 * off * off
}

/** Expected distance on the lean side of the band, in half widths. */
export function leanExcess(forecast: Forecast, band: Band): number {
  const sd = Math.hypot(forecast.sd, ROAD_SD)
  const z = (forecast.mean - band.high) / sd
  return (sd * (z * normalCdf(z) + normalDensity(z))) / ((band.high - band.low) / 2)
}
