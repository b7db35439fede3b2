import type { ParameterValues } from './parameters.ts'
import { airGasConstant, flowFactorFast } from './throttleFlow.ts'

/** Air outside: pressure, temperature and density, and the dry share by mass that burns. */
export interface SimAir {
  pressurePa: number
  temperatureK: number
  densityKgM3: number
  dryShare: number
}

/** Vapour pressure of water, Pa, by the Magnus form (WMO No. 8); enough for a simulator's weather. */
function vapourPa(temperatureC: number): number {
  return 611.2 * Math.exp((17.62 * temperatureC) / (243.12 + temperatureC))
}

/** The air at the carburettor from `air.*`. */
export function simAir(p: ParameterValues): SimAir {
  const pressurePa = p['air.pressure_kPa'] * 1000
  const temperatureK = p['air.temperature_C'] + p['air.underhood_C'] + 273.15
  const vapour = (p['air.humidity_pct'] / 100) * vapourPa(p['air.temperature_C'])
  const densityKgM3 = (pressurePa - 0.378 * vapour) / (airGasConstant * temperatureK)
  const waterShare = (0.622 * vapour) / (pressurePa - 0.378 * vapour)
  return { pressurePa, temperatureK, densityKgM3, dryShare: 1 - p['air.oxygen_dilution'] * waterShare }
}

/** Angle of the closed throttle plate and its sweep to full opening, rad; common practice, no source. */
const closedRad = (7 * Math.PI) / 180
const sweepRad = (83 * Math.PI) / 180
const throttleCoefficient = 0.8

/** Torque against λ of the vaporised mixture, 1 at its best: Heywood's landmarks (best torque near 0.89), misfire beyond `leanLimit`. */
export function mixtureTorque(lambda: number, leanLimit: number): number {
  if (!(lambda > 0.38)) return 0
  const d = lambda - 0.89
  let g = d < 0 ? 1 - 2.1 * d * d : 1 - 1.3 * d * d
  if (lambda > leanLimit) g -= 3.4 * (lambda - leanLimit)
  if (lambda < 0.55) g -= 2.2 * (0.55 - lambda)
  return Math.max(g, 0)
}

/** The parts of the engine that have no memory: filling, throttle, friction, torque. Flows in g/s, pressures in Pa. */
export class EngineBase {
  readonly p: ParameterValues
  readonly air: SimAir
  readonly displacementM3: number
  readonly boreAreaMm2: number
  readonly secondaryAreaMm2: number
  private readonly peakRpm: number
  private readonly filling: number
  private readonly torquePerAir: number
  private readonly rootAir: number
  private readonly leanLimit: number
  private readonly frictionScale: number

  constructor(p: ParameterValues) {
    this.p = p
    this.air = simAir(p)
    this.displacementM3 = p['engine.displacement_L'] / 1000
    const barrel = (mm: number) => (Math.PI / 4) * mm * mm
    this.boreAreaMm2 = p['carb.primaries'] * barrel(p['carb.bore_mm'])
    this.secondaryAreaMm2 = p['carb.secondaries'] * barrel(p['carb.secondary_venturi_mm'] * 1.15)
    this.peakRpm = p['engine.peak_torque_rpm']
    this.filling = p['engine.volumetric_efficiency']
    this.leanLimit = p['engine.lean_limit']
    this.frictionScale = p['engine.friction_scale']
    // Lower heating value 43 MJ/kg (Heywood table D.4) at the stoichiometric ratio.
    this.torquePerAir = (p['engine.efficiency'] * 43e6) / 14.6
    this.rootAir =
      (throttleCoefficient * 1e-3 * this.air.pressurePa) / Math.sqrt(airGasConstant * this.air.temperatureK)
  }

  /** Open area of the primary throttle plates without the stop's leak, mm². */
  throttleAreaMm2(throttlePct: number): number {
    const pct = throttlePct < 0 ? 0 : Math.min(throttlePct, 100)
    return this.boreAreaMm2 * (1 - Math.cos(closedRad + (sweepRad * pct) / 100) / Math.cos(closedRad)) * 0.96
  }

  /** Air through so much area, g/s. */
  throttleFlowGS(areaMm2: number, manifoldPa: number): number {
    return this.rootAir * areaMm2 * flowFactorFast(manifoldPa / this.air.pressurePa)
  }

  /** Volumetric efficiency against speed, before back pressure. */
  fillingAt(rpm: number): number {
    const d = rpm / this.peakRpm - 1
    return this.filling * (1 - (d < 0 ? 0.14 : 0.2) * d * d)
  }

  /** Pumped air, g/s: linear in manifold pressure, residual gas takes a tenth of exhaust pressure's worth. */
  pumpedGS(rpm: number, manifoldPa: number, chargeK: number): number {
    const flow =
      (this.fillingAt(rpm) * (manifoldPa - 0.1 * this.air.pressurePa) * this.displacementM3 * rpm * 1000) /
      (airGasConstant * chargeK * 120)
    return Math.max(flow, 0)
  }

  /** Indicated torque, N m. `lambdaVapour` is the mixture that can burn. */
  indicatedTorqueNm(cylinderAirGS: number, rpm: number, load: number, lambdaVapour: number): number {
    const omega = rpm * (Math.PI / 30)
    if (omega < 3) return 0
    const light = 1 - load
    const burn = 1 - 0.62 * light * light
    return (
      (this.torquePerAir * cylinderAirGS * 1e-3 * burn * mixtureTorque(lambdaVapour, this.leanLimit)) / omega
    )
  }

  /** Friction and pumping, N m; `coldOil` 0 hot … about 1.3. */
  lossTorqueNm(rpm: number, manifoldPa: number, coldOil: number): number {
    const n = rpm / 1000
    const frictionPa = (0.97 + 0.15 * n + 0.05 * n * n) * 1e5 * this.frictionScale * (1 + 0.9 * coldOil)
    const pumpingPa = this.air.pressurePa - manifoldPa
    return ((frictionPa + pumpingPa) * this.displacementM3) / (4 * Math.PI)
  }

  /** Manifold pressure at which the throttle passes what the engine pumps, Pa. */
  steadyManifoldPa(areaMm2: number, rpm: number, chargeK: number): number {
    let low = 0.05 * this.air.pressurePa
    let high = this.air.pressurePa
    for (let i = 0; i < 40; i++) {
      const mid = (low + high) / 2
      if (this.throttleFlowGS(areaMm2, mid) > this.pumpedGS(rpm, mid, chargeK)) low = mid
      else high = mid
    }
    return (low + high) / 2
  }
}

/** How cold the wall is for fuel film and oil: 0 from 70 °C up, 1 at 20 °C. */
export function coldness(temperatureC: number): number {
  const cold = (70 - temperatureC) / 50
  return cold < 0 ? 0 : Math.min(cold, 1.5)
}

/** Share of the fuel that does not evaporate in time to burn, by coldness; common practice, no source. */
export function unburntShare(cold: number): number {
  return 0.17 * cold
}

/** Temperature of the charge in the manifold, K. */
export function chargeTemperatureK(airK: number, wallC: number): number {
  return airK + 0.25 * (wallC + 273.15 - airK)
}
