import type { ParameterValues } from './parameters.ts'

/** Exhaust over the air outside at fast idle, K: there the choke's time constant holds. Common practice, no source. */
const IDLE_GAS_K = 440

/** Temperatures of coolant, manifold wall, choke coil and exhaust, °C. */
export class EngineHeat {
  coolantC: number
  wallC: number
  bimetalC: number
  exhaustC: number
  private readonly airC: number
  private readonly thermostatC: number
  private readonly chokeTauS: number
  private readonly heatPerG: number

  constructor(p: ParameterValues, startCoolantC: number, airC: number) {
    this.airC = airC
    this.thermostatC = p['engine.thermostat_C']
    this.chokeTauS = p['choke.heat_tau_s']
    // 20 → 80 °C in five to seven minutes of light driving (common practice, no source).
    this.heatPerG = (0.62 / p['engine.displacement_L']) * p['engine.heat_scale']
    this.coolantC = startCoolantC
    this.wallC = startCoolantC
    this.bimetalC = startCoolantC
    this.exhaustC = startCoolantC
  }

  /** `cold`: how cold the wall is, 0 warm; `flowShare`: air flow as a share of the most. */
  step(dt: number, isRunning: boolean, fuelGS: number, flowShare: number, cold: number): void {
    const { airC } = this
    const heat = isRunning ? this.heatPerG * Math.min(fuelGS, 12) : 0
    let loss = (this.coolantC - airC) / 1500
    if (this.coolantC > this.thermostatC) loss += (this.coolantC - this.thermostatC) * 0.09
    this.coolantC += (heat - loss) * dt
    // The heat riser warms the floor of the manifold ahead of the coolant.
    const wallGoal = isRunning ? this.coolantC + 14 * Math.min(1, cold * 2) : this.coolantC
    this.wallC += ((wallGoal - this.wallC) * dt) / 40
    const bimetalGoal = isRunning ? 95 : airC
    // The coil is heated by the exhaust, by its heat and its flow, so that it keeps in step with an engine that is driven off early.
    const tau = isRunning ? this.chokeTauS * (IDLE_GAS_K / Math.max(this.exhaustC - airC, 100)) ** 2 : 900
    this.bimetalC += ((bimetalGoal - this.bimetalC) * dt) / tau
    const gasC = isRunning ? 340 + 560 * Math.sqrt(Math.min(flowShare, 1)) : airC
    this.exhaustC += ((gasC - this.exhaustC) * dt) / (isRunning ? 6 : 60)
  }
}
