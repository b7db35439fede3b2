import type { ParameterValues } from './parameters.ts'
import type { PartEffects } from './partEffects.ts'

/** Makers' coefficients: what the right parts pass, found once for each car so that it sits on target at reference air. */
export interface MeteringCoefficients {
  /** Fuel in g/s for √Pa of signal. */
  idle: number
  main: number
  power: number
  secondary: number
  /** Booster signal at which the main nozzle starts, Pa. */
  startPa: number
  /** Booster signal at the cruise point, Pa. */
  cruisePa: number
  /** Enrichment of the main circuit with flow: what the air bleed leaves of the elementary carburettor's trend. */
  trend: number
  /** How far the main flow draws down the idle well. */
  coupling: number
  /** Transfer slot ÷ idle port area. */
  slotArea: number
  /** Throttle at which the transfer slot is wholly uncovered, %. */
  slotEndPct: number
  /** Idle port area ÷ idle air bleed area. */
  bleedRatio: number
  /** Choke depression, Pa for (g/s)², pulled off and while cranking. */
  chokePa: number
  chokeCrankPa: number
  /** Air flow at cold fast idle, g/s: above it the plate is blown open. */
  chokeFlowGS: number
}

/** Density of petrol is inside the coefficients; discharge coefficient of a venturi, common practice, no source. */
const venturiCoefficient = 0.9
const paPerInHg = 3386.39
/** Half width of the range of signal over which the main nozzle starts, share of the starting signal; chosen here. */
const startBlur = 0.38

const smoothStep = (x: number) => (x <= 0 ? 0 : x >= 1 ? 1 : x * x * (3 - 2 * x))

/**
 * A carburettor's steady circuits. Call `meter` with the air of the moment, then read the fuel flows. The λ ∝ √ρ behaviour is not
 * programmed: it follows from venturi depression ∝ ṁ²/ρ and fuel ∝ √depression.
 */
export class Metering {
  idleGS = 0
  mainGS = 0
  powerGS = 0
  secondaryGS = 0
  /** All circuits together, g/s, without the pump shot. */
  fuelGS = 0
  /** Booster depression of the primaries, Pa. */
  signalPa = 0

  private readonly primaryArea: number
  private readonly secondaryArea: number
  private readonly boostPerArea2: number
  private readonly secondaryBoostPerArea2: number
  private readonly curbSlot: number
  private readonly valveRangePa: number
  private readonly valveOpensPa: number
  private readonly c: MeteringCoefficients
  private readonly parts: PartEffects

  constructor(p: ParameterValues, parts: PartEffects, coefficients: MeteringCoefficients) {
    this.c = coefficients
    this.parts = parts
    this.primaryArea = p['carb.primaries'] * (Math.PI / 4) * (p['carb.venturi_mm'] / 1000) ** 2
    this.secondaryArea = p['carb.secondaries'] * (Math.PI / 4) * (p['carb.secondary_venturi_mm'] / 1000) ** 2
    const k = p['carb.boost'] * 0.5e-6
    this.boostPerArea2 = k / (venturiCoefficient * this.primaryArea) ** 2
    this.secondaryBoostPerArea2 =
      this.secondaryArea > 0 ? k / (venturiCoefficient * this.secondaryArea) ** 2 : 0
    this.curbSlot = p['carb.curb_slot']
    this.valveRangePa = p['carb.valve_range_inHg'] * paPerInHg
    this.valveOpensPa = parts.valveOpensInHg * paPerInHg
  }

  /** Primaries' booster depression at an air flow when the secondaries are shut, Pa. */
  primarySignalPa(airGS: number, densityKgM3: number): number {
    return (this.boostPerArea2 * airGS * airGS) / densityKgM3
  }

  /**
   * Fuel of each circuit.
   * @param airGS air through the carburettor
   * @param factor flow factor of the throttle's pressure ratio
   * @param secondaryOpen 0 … 1
   * @param secondaryFlow 0 … 1, how far the secondary nozzles already flow
   * @param chokeClosed 0 open … about 1.3
   * @param cranking true before the pull-off has vacuum
   */
  meter(
    airGS: number,
    throttlePct: number,
    factor: number,
    ambientPa: number,
    manifoldPa: number,
    densityKgM3: number,
    secondaryOpen: number,
    secondaryFlow: number,
    chokeClosed: number,
    cranking: boolean,
  ): void {
    const c = this.c
    const air = Math.max(airGS, 0)
    let primaryShare = 1
    if (secondaryOpen > 0) {
      const open = secondaryOpen * this.secondaryArea
      primaryShare = this.primaryArea / (this.primaryArea + open)
    }
    const primary = air * primaryShare
    const venturiPa = (this.boostPerArea2 * primary * primary) / densityKgM3
    this.signalPa = venturiPa

    let chokePa = 0
    if (chokeClosed > 0) {
      const k = (cranking ? c.chokeCrankPa : c.chokePa) * chokeClosed
      const ratio = air / c.chokeFlowGS
      chokePa = ((k * air * air) / densityKgM3 / (1 + ratio * ratio)) * 1.2
    }

    // Idle and transfer: the air bleed and the ports are two orifices in series under the throttle's vacuum.
    const slot = c.slotArea * smoothStep(throttlePct / c.slotEndPct)
    const ports = (1 - this.curbSlot) * this.parts.screws + this.curbSlot + slot
    const x = c.bleedRatio * ports
    const x2 = x * x
    const flow = Math.max(factor, 0)
    const vacuumPa = 0.5 * ambientPa * flow * flow
    const idlePa = (vacuumPa * x2) / (1 + x2) + chokePa - c.coupling * venturiPa
    this.idleGS = idlePa > 0 ? c.idle * this.parts.idleFeed * Math.sqrt(idlePa) : 0

    // Air comes in pulses, so that the nozzle does not start at one flow but over a range of it.
    const above = venturiPa + chokePa - c.startPa
    const blur = startBlur * c.startPa
    const mainPa = above <= -blur ? 0 : above >= blur ? above : ((above + blur) * (above + blur)) / (4 * blur)
    const root = Math.sqrt(mainPa)
    const trend = 1 + (c.trend * venturiPa) / (venturiPa + 4 * c.cruisePa)
    this.mainGS = air > 0 ? c.main * this.parts.main * root * trend : 0

    const open = (this.valveOpensPa - (ambientPa - manifoldPa)) / this.valveRangePa
    const lift = open <= 0 ? 0 : Math.min(open, 1)
    this.powerGS = c.power * this.parts.power * lift * root * trend

    this.secondaryGS = 0
    if (secondaryOpen > 0) {
      const secondary = air - primary
      const secondaryPa =
        (this.secondaryBoostPerArea2 * secondary * secondary) / densityKgM3 / (secondaryOpen * secondaryOpen)
      this.secondaryGS =
        c.secondary * this.parts.secondary * secondaryOpen * secondaryFlow * Math.sqrt(secondaryPa)
    }
    this.fuelGS = this.idleGS + this.mainGS + this.powerGS + this.secondaryGS
  }
}
