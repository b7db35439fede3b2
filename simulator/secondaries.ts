import type { ParameterValues } from './parameters.ts'
import { secondaryFromPct, secondaryTarget } from './steadyPoint.ts'

/** The secondary barrels, opened by the flow of the primaries against a spring. */
export class Secondaries {
  /** How far they stand open, and how far their nozzles flow, 0 … 1. */
  open = 0
  flow = 0
  private readonly p: ParameterValues
  private readonly primaryMostGS: number
  private readonly spring: number
  private readonly timeS: number
  private readonly lagS: number
  private readonly stiffness: number
  private readonly venturiRatio: number

  constructor(p: ParameterValues, primaryMostGS: number, spring: number) {
    this.p = p
    this.primaryMostGS = primaryMostGS
    this.spring = spring
    this.timeS = p['carb.secondary_time_s']
    this.lagS = p['carb.secondary_lag_s']
    this.stiffness = spring * p['carb.secondary_spring']
    this.venturiRatio =
      (p['carb.secondaries'] * p['carb.secondary_venturi_mm'] ** 2) /
      (p['carb.primaries'] * p['carb.venturi_mm'] ** 2)
  }

  step(dt: number, throttlePct: number, airGS: number): void {
    const { open } = this
    const primary = airGS / (1 + open * this.venturiRatio)
    const target =
      throttlePct > secondaryFromPct ? secondaryTarget(this.p, primary, this.primaryMostGS, this.spring) : 0
    const timeS = target > open ? this.timeS * this.stiffness : 0.08
    this.open = open + ((target - open) * dt) / (timeS + dt)
    if (this.open < 1e-4) this.open = 0
    // The nozzles flow when their signal stands: they follow the opening by a moment.
    const wanted = this.open > 0.01 ? 1 : 0
    this.flow += ((wanted - this.flow) * dt) / (this.lagS + dt)
  }
}
