import { cellResistanceOhm } from '../core/sensing/cellTemperature.ts'
import { planar42, planar49 } from '../core/sensing/planarSensors.ts'
import { lambdaFromPumpCurrent, pumpCurrentFromLambda } from '../core/sensing/pumpCurrent.ts'
import type { SensorCurve } from '../core/sensing/sensorCurve.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'

const tableSize = 1024
const phiMost = 2.4

/** Pump current against φ = 1/λ as a table: the published curve, a straight line to the current in air, and on beyond its rich end. */
function currentTable(curve: SensorCurve): Float64Array {
  const out = new Float64Array(tableSize + 2)
  const knots = curve.inverseLambda
  // Columns of the curve run from the rich end (least current) to the lean end.
  const richPhi = knots.y[0]
  const leanPhi = knots.y[knots.y.length - 1]
  const richMa = pumpCurrentFromLambda(1 / richPhi + 1e-9, curve)
  const leanMa = pumpCurrentFromLambda(1 / leanPhi - 1e-9, curve)
  const slope = (pumpCurrentFromLambda(1 / (richPhi - 0.02), curve) - richMa) / -0.02
  for (let i = 0; i <= tableSize + 1; i++) {
    const phi = (i / tableSize) * phiMost
    if (phi <= leanPhi) out[i] = curve.airCurrentMa + (leanMa - curve.airCurrentMa) * (phi / leanPhi)
    else if (phi >= richPhi) out[i] = richMa + slope * (phi - richPhi)
    else out[i] = pumpCurrentFromLambda(1 / phi, curve)
  }
  return out
}

const tables = new Map<number, Float64Array>()

/** A heated wideband sensor: warm-up, curve, lag, ageing, noise. */
export class LambdaSensor {
  /** What the electronics see. */
  currentMa = 0
  resistanceOhm = Number.NaN
  heaterDutyPct = 0
  readonly nominalAirMa: number
  readonly gain: number
  temperatureC: number

  private readonly curve: SensorCurve
  private readonly table: Float64Array
  private readonly lagS: number
  private readonly lagLeanS: number
  private readonly noiseMa: number
  private readonly heatTauS: number
  private readonly random: Random
  private heaterOn = true
  private lagged = 0

  constructor(p: ParameterValues, gain: number, startC: number, random: Random) {
    const generation = p['sensor.generation'] < 45 ? 42 : 49
    this.curve = generation === 42 ? planar42 : planar49
    const known = tables.get(generation)
    this.table = known ?? currentTable(this.curve)
    if (!known) tables.set(generation, this.table)
    this.nominalAirMa = this.curve.airCurrentMa
    this.gain = gain
    this.lagS = p['sensor.lag_s']
    this.lagLeanS = p['sensor.lag_to_lean_s'] >= 0 ? p['sensor.lag_to_lean_s'] : this.lagS
    this.noiseMa = p['sensor.noise_mA']
    this.heatTauS = p['sensor.heat_up_s'] / 3.6
    this.temperatureC = p['sensor.warm'] > 0.5 ? this.curve.nominalTemperatureC : startC
    this.random = random
    this.lagged = this.currentOf(0)
  }

  /** Mean lag of the sensor, s. */
  get meanLagS(): number {
    return (this.lagS + this.lagLeanS) / 2
  }

  /** Pump current of a settled new sensor at φ, mA. */
  currentOf(phi: number): number {
    const x = ((phi < 0 ? 0 : Math.min(phi, phiMost)) / phiMost) * tableSize
    const i = x | 0
    return this.table[i] + (this.table[i + 1] - this.table[i]) * (x - i)
  }

  /** The heater fails. */
  breakHeater(): void {
    this.heaterOn = false
  }

  /** One step; `phi` is the gas at the tip, `powered` that the key is on. */
  step(dt: number, phi: number, powered: boolean, exhaustC: number): void {
    const goal = powered && this.heaterOn ? this.curve.nominalTemperatureC + 14 : Math.max(exhaustC * 0.7, 15)
    const nominal = this.curve.nominalTemperatureC
    const tau = this.heaterOn ? this.heatTauS : 20
    this.temperatureC += ((goal - this.temperatureC) * dt) / tau
    if (this.heaterOn && this.temperatureC > nominal) this.temperatureC = nominal
    const wanted = this.currentOf(phi)
    const lag = wanted > this.lagged ? this.lagLeanS : this.lagS
    this.lagged += (wanted - this.lagged) * (1 - Math.exp(-dt / (lag + 1e-6)))
  }

  /** Reads the sensor as the board would at this moment. */
  read(tail: number): void {
    const { random } = this
    const hot = (this.temperatureC - 640) / 110
    const works = hot <= 0 ? 0 : Math.min(hot, 1)
    const noise = this.noiseMa * tail * random.normal()
    this.currentMa = this.lagged * this.gain * works + noise + (1 - works) * 0.004 * random.normal()
    this.resistanceOhm = cellResistanceOhm(this.temperatureC, this.curve) * (1 + 0.006 * random.normal())
    const cold = this.curve.nominalTemperatureC - this.temperatureC
    this.heaterDutyPct = this.heaterOn ? Math.min(100, 38 + Math.max(cold, 0) * 0.6 + random.normal()) : 100
  }

  /** λ of the last reading as a board that knows its sensor's ageing works it out: NaN until hot and beyond the curve. */
  readLambda(): number {
    if (this.curve.nominalTemperatureC - this.temperatureC > 30) return Number.NaN
    return lambdaFromPumpCurrent(this.currentMa / this.gain, this.curve)
  }
}
