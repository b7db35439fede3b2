import type { Calibration } from './calibration.ts'
import type { EngineBase } from './engineBase.ts'
import type { ParameterValues } from './parameters.ts'
import { aimedLambda } from './steadyPoint.ts'

/** Throttle-body injection: base fuel by speed and density, cold and acceleration enrichment, cut on overrun. */
export class Injection {
  private readonly p: ParameterValues
  private pending = 0

  constructor(p: ParameterValues) {
    this.p = p
  }

  /** λ that the table aims at for a load, with the scale of its cells: above 1 gives more fuel. */
  private wanted(load: number, idle: boolean): number {
    const { p } = this
    if (idle) return aimedLambda.idle / p['injection.idle_scale']
    if (load < 0.58) return aimedLambda.cruise / p['injection.cruise_scale']
    if (load < 0.83) return aimedLambda.part_throttle / p['injection.part_scale']
    return aimedLambda.power / p['injection.power_scale']
  }

  /** Injected fuel now, g/s. It reckons the air from pressure and speed as its maker's table knows this engine. */
  fuelGS(rpm: number, manifoldPa: number, cold: number, throttlePct: number, base: EngineBase): number {
    const { p } = this
    if (rpm < 60) return 0
    const load = manifoldPa / base.air.pressurePa
    if (p['injection.overrun_cut'] > 0.5 && throttlePct < 1 && rpm > 1.8 * p['engine.idle_rpm']) return 0
    const chargeK = base.air.temperatureK + 0.25 * (85 + 273.15 - base.air.temperatureK)
    const air = base.pumpedGS(rpm, manifoldPa, chargeK)
    const enrich = 1 + (p['injection.cold_pct'] / 100) * cold * (rpm < 450 ? 1.6 : 1)
    const idle = throttlePct < 1.5 && rpm < 1.6 * p['engine.idle_rpm']
    return (
      (air * enrich * p['injection.base_scale']) /
      (p['engine.stoichiometric_ratio'] * this.wanted(load, idle))
    )
  }

  /** Acceleration enrichment for a throttle travel (share of full), g/s. */
  shotGS(travel: number, dt: number, k: Calibration): number {
    const { p } = this
    if (travel > 0) this.pending += travel * k.pumpStrokeG * 1.6 * p['injection.acceleration']
    const share = 1 - Math.exp(-dt / p['injection.acceleration_decay_s'])
    const shot = this.pending * share
    this.pending -= shot
    return shot / dt
  }
}
