import type { Calibration } from './calibration.ts'
import type { Injection } from './injection.ts'
import type { ParameterValues } from './parameters.ts'
import type { PartEffects } from './partEffects.ts'
import { pumpStroke, shotFlowGS } from './pumpCalibration.ts'

/** Longest pump delay that is kept, steps. */
const delaySlots = 256

/** The accelerator pump of a carburettor, or the acceleration enrichment of an injection: fuel for a moving throttle. */
export class PumpShot {
  private readonly k: Calibration
  private readonly injection: Injection | undefined
  private readonly strokeG: number
  private readonly rateGS: number
  private readonly delayS: number
  private readonly strokeLog = new Float64Array(delaySlots)
  private strokeHead = 0
  private stroke = 0
  private pendingG = 0

  constructor(p: ParameterValues, k: Calibration, parts: PartEffects, injection: Injection | undefined) {
    this.k = k
    this.injection = injection
    this.strokeG = k.pumpStrokeG * parts.pumpVolume * p['carb.pump_scale']
    this.rateGS = k.pumpRateGS * parts.squirter
    this.delayS = p['carb.pump_delay_s']
  }

  /** Fuel of this step, g/s. */
  stepGS(dt: number, throttlePct: number): number {
    const slots = Math.min(Math.round(this.delayS / dt), delaySlots - 1)
    const log = this.strokeLog
    this.strokeHead = (this.strokeHead + 1) & (delaySlots - 1)
    log[this.strokeHead] = this.injection ? throttlePct / 100 : pumpStroke(throttlePct)
    const stroke = log[(this.strokeHead - slots) & (delaySlots - 1)]
    const travel = stroke - this.stroke
    this.stroke = stroke
    if (this.injection) return this.injection.shotGS(travel, dt, this.k)
    if (travel > 0) this.pendingG += travel * this.strokeG
    else if (travel < 0) this.pendingG = Math.max(0, this.pendingG + travel * this.strokeG)
    if (this.pendingG <= 0) return 0
    let shot = shotFlowGS(this.pendingG, this.k.pumpStrokeG, this.rateGS)
    if (shot * dt > this.pendingG || this.pendingG < 1e-4 * this.strokeG) shot = this.pendingG / dt
    this.pendingG -= shot * dt
    return shot
  }
}
