import { chargeTemperatureK, type EngineBase } from './engineBase.ts'
import type { Metering } from './metering.ts'
import type { ParameterValues } from './parameters.ts'
import { flowFactorFast } from './throttleFlow.ts'

/** λ the right set-up is aimed at: the middle of each state's default band. */
export const aimedLambda = Object.freeze({ idle: 0.95, cruise: 1.02, part_throttle: 0.97, power: 0.87 })

export const warmWallC = 85

/** A steady running point: air, pressure and what the circuits give there. */
export interface SteadyPoint {
  rpm: number
  throttlePct: number
  manifoldPa: number
  airGS: number
  secondaryOpen: number
}

/** Where a rising condition stops to hold between two figures, by 48 halvings. */
export const bisect = (low: number, high: number, tooLow: (x: number) => boolean): number => {
  let a = low
  let b = high
  for (let i = 0; i < 48; i++) {
    const mid = (a + b) / 2
    if (tooLow(mid)) a = mid
    else b = mid
  }
  return (a + b) / 2
}

/** Throttle below which the linkage keeps the secondaries shut, %. */
export const secondaryFromPct = 40

/** How far the secondaries open at a primary flow, 0 … 1. */
export function secondaryTarget(
  p: ParameterValues,
  primaryGS: number,
  mostGS: number,
  spring: number,
): number {
  if (p['carb.secondaries'] === 0) return 0
  const start = p['carb.secondary_start_share'] * Math.sqrt(spring * p['carb.secondary_spring'])
  const open = (primaryGS / mostGS - start) / p['carb.secondary_range_share']
  return open <= 0 ? 0 : Math.min(open, 1)
}

/** The steady point at a throttle opening and speed, secondaries included. */
export function steadyPoint(
  base: EngineBase,
  leakMm2: number,
  throttlePct: number,
  rpm: number,
  primaryMostGS: number,
  spring: number,
  wallC = warmWallC,
): SteadyPoint {
  const p = base.p
  const chargeK = chargeTemperatureK(base.air.temperatureK, wallC)
  const primaryMm2 = leakMm2 + base.throttleAreaMm2(throttlePct)
  const venturiRatio =
    (p['carb.secondaries'] * p['carb.secondary_venturi_mm'] ** 2) /
    (p['carb.primaries'] * p['carb.venturi_mm'] ** 2)
  const flowAt = (open: number) => {
    const area = primaryMm2 + open * base.secondaryAreaMm2
    const manifoldPa = base.steadyManifoldPa(area, rpm, chargeK)
    return { manifoldPa, airGS: base.pumpedGS(rpm, manifoldPa, chargeK) }
  }
  let open = 0
  if (p['carb.secondaries'] > 0 && throttlePct > secondaryFromPct) {
    // Opening and flow hold each other: the flow through the primaries falls as the secondaries open.
    open = bisect(0, 1, (guess) => {
      const primary = flowAt(guess).airGS / (1 + guess * venturiRatio)
      return secondaryTarget(p, primary, primaryMostGS, spring) > guess
    })
  }
  return { rpm, throttlePct, secondaryOpen: open < 1e-6 ? 0 : open, ...flowAt(open) }
}

/** Fuel of all circuits at a steady point, warm or with the choke so far closed, g/s. */
export function steadyFuel(
  base: EngineBase,
  metering: Metering,
  point: SteadyPoint,
  choke = 0,
  cranking = false,
): number {
  const { pressurePa, densityKgM3 } = base.air
  metering.meter(
    point.airGS,
    point.throttlePct,
    flowFactorFast(point.manifoldPa / pressurePa),
    pressurePa,
    point.manifoldPa,
    densityKgM3,
    point.secondaryOpen,
    1,
    choke,
    cranking,
  )
  return metering.fuelGS
}
