import type { Calibration } from './calibration.ts'
import { type Controls, noControls } from './controls.ts'
import { type Charge, CrankTorque } from './crankTorque.ts'
import { Driveline } from './driveline.ts'
import { chargeTemperatureK, coldness, EngineBase } from './engineBase.ts'
import { EngineHeat } from './engineHeat.ts'
import { Injection } from './injection.ts'
import { IntakeFuel } from './intakeFuel.ts'
import { Metering } from './metering.ts'
import type { ParameterValues } from './parameters.ts'
import type { PartEffects } from './partEffects.ts'
import { PumpShot } from './pumpShot.ts'
import type { Random } from './random.ts'
import { Secondaries } from './secondaries.ts'
import { airGasConstant, flowFactorFast } from './throttleFlow.ts'

/** Below this the flow pulsates so much that its mean understates the fuel, and by how much at standstill; chosen here. */
const strokesBelowRpm = 450
const strokeGain = 2
/** The engine runs above this speed, rpm. */
const runningRpm = 300

/**
 * Engine, carburettor (or throttle body), wall film, warm-up and car, stepped in small equal steps of time. All public fields are the
 * state of this moment; pressures in Pa, flows in g/s.
 */
export class Engine implements Charge {
  readonly base: EngineBase
  readonly metering: Metering
  readonly injection: Injection | undefined
  readonly controls: Controls = noControls()

  gear = 0
  throttlePct = 0
  manifoldPa: number
  /** Air into the cylinders. */
  cylinderAirGS = 0
  /** Fuel metered by the steady circuits, and what reaches the cylinders. */
  meteredGS = 0
  cylinderFuelGS = 0
  /** λ in the cylinders now, and λ when film and pump are at rest, both without wander. Infinity without fuel. */
  lambda = Number.POSITIVE_INFINITY
  settledLambda = Number.POSITIVE_INFINITY
  chokeClosed = 0
  fuelG = 0
  /** How cold the manifold's wall is, 0 warm … 1.5. */
  cold = 0

  private readonly random: Random
  private readonly drive: Driveline
  private readonly crank: CrankTorque
  private readonly heat: EngineHeat
  private readonly pump: PumpShot
  private readonly intake: IntakeFuel
  private readonly secondaries: Secondaries | undefined
  /** Air through the throttle. */
  private throttleAirGS = 0
  private camStep = 0
  private idleDrift = 0
  private readonly idleDriftSize: number
  private readonly leakMm2: number
  private readonly fastIdlePct: number
  private readonly chokeColdC: number
  private readonly chokeOpenC: number
  private readonly fillPaPerGK: number
  private readonly stoich: number
  private readonly topFlowGS: number

  constructor(
    p: ParameterValues,
    calibration: Calibration,
    parts: PartEffects,
    startCoolantC: number,
    random: Random,
  ) {
    this.random = random
    this.base = new EngineBase(p)
    const { air } = this.base
    const c = calibration.coefficients
    this.metering = new Metering(p, parts, {
      ...c,
      startPa: c.startPa * p['carb.main_start_scale'],
      trend: c.trend + p['carb.trend_add'],
      slotArea: c.slotArea * p['carb.slot_scale'],
    })
    this.injection = p['injection.fitted'] > 0.5 ? new Injection(p) : undefined
    this.drive = new Driveline(p, air.densityKgM3)
    this.crank = new CrankTorque(p, this.base, random)
    this.heat = new EngineHeat(p, startCoolantC, air.temperatureK - 273.15)
    this.pump = new PumpShot(p, calibration, parts, this.injection)
    this.intake = new IntakeFuel(p, this.injection !== undefined)
    this.secondaries =
      p['carb.secondaries'] > 0 && !this.injection
        ? new Secondaries(p, calibration.primaryMostGS, parts.spring)
        : undefined
    this.idleDriftSize = p['noise.idle_drift']
    this.leakMm2 = calibration.leakMm2 * p['carb.idle_leak_scale']
    this.fastIdlePct = calibration.fastIdlePct
    this.chokeColdC = p['choke.cold_C']
    this.chokeOpenC = p['choke.open_C'] + 4 * parts.chokeNotch
    this.manifoldPa = air.pressurePa
    this.stoich = p['engine.stoichiometric_ratio']
    this.fillPaPerGK = airGasConstant / p['engine.manifold_L']
    this.topFlowGS = this.base.pumpedGS(0.85 * p['engine.redline_rpm'], air.pressurePa, 310)
    this.chokeClosed = this.chokeNow()
    this.camStep = this.chokeClosed
  }

  get rpm(): number {
    return this.drive.rpm
  }
  get speedMs(): number {
    return this.drive.speedMs
  }
  get distanceM(): number {
    return this.drive.distanceM
  }
  get wheelPowerW(): number {
    return this.drive.wheelPowerW
  }
  get coolantC(): number {
    return this.heat.coolantC
  }
  get exhaustC(): number {
    return this.heat.exhaustC
  }
  get secondaryOpen(): number {
    return this.secondaries?.open ?? 0
  }
  /** The engine runs by itself. */
  get fired(): boolean {
    return this.crank.fired
  }
  /** Share of firings that fail at this moment. */
  get misfire(): number {
    return this.crank.misfire
  }

  /** Advances by `dt` seconds (5 ms or less). */
  step(dt: number): void {
    this.moveThrottle()
    const chargeK = chargeTemperatureK(this.base.air.temperatureK, this.heat.wallC)
    this.fillManifold(dt, chargeK)
    this.feed(dt, chargeK)
    const { controls, crank, drive } = this
    const torqueNm = crank.step(dt, this, controls)
    this.gear = controls.gear
    drive.step(dt, torqueNm, controls)
    if (drive.rpm === 0) crank.fired = false
    const isRunning = drive.rpm > runningRpm && crank.fired
    this.heat.step(dt, isRunning, this.cylinderFuelGS, this.cylinderAirGS / this.topFlowGS, this.cold)
  }

  /** The fast-idle cam holds the throttle open until the foot lets the cam fall to the choke's step. */
  private moveThrottle(): void {
    const { footPct } = this.controls
    if (footPct > 1.5 && this.chokeClosed < this.camStep) this.camStep = this.chokeClosed
    const camPct = (this.injection ? coldness(this.coolantC) * 0.8 : this.camStep) * this.fastIdlePct
    this.throttlePct = Math.min(Math.max(footPct, camPct), 100)
  }

  /** Air through the throttle into the manifold and out of it into the cylinders. */
  private fillManifold(dt: number, chargeK: number): void {
    const { base, rpm } = this
    if (this.idleDriftSize > 0) {
      this.idleDrift +=
        (-this.idleDrift / 40) * dt + this.idleDriftSize * Math.sqrt((2 * dt) / 40) * this.random.normal()
    }
    const leak = this.leakMm2 * (1 + this.idleDrift)
    const area = leak + base.throttleAreaMm2(this.throttlePct) + this.secondaryOpen * base.secondaryAreaMm2
    // Implicit step of the stiff filling: slopes of both flows by finite difference.
    const flow = base.throttleFlowGS(area, this.manifoldPa)
    const pumped = base.pumpedGS(rpm, this.manifoldPa, chargeK)
    const probePa = 60
    const slope =
      (base.throttleFlowGS(area, this.manifoldPa + probePa) -
        flow -
        base.pumpedGS(rpm, this.manifoldPa + probePa, chargeK) +
        pumped) /
      probePa
    const fill = this.fillPaPerGK * chargeK * dt
    const manifoldPa = this.manifoldPa + (fill * (flow - pumped)) / (1 - (slope < 0 ? fill * slope : 0))
    const ambientPa = base.air.pressurePa
    this.manifoldPa = Math.max(0.06 * ambientPa, Math.min(manifoldPa, ambientPa * 0.9995))
    this.cylinderAirGS = base.pumpedGS(rpm, this.manifoldPa, chargeK)
    this.throttleAirGS = base.throttleFlowGS(area, this.manifoldPa)
  }

  /** Fuel from the nozzles to the cylinders, and the λ that it makes there. */
  private feed(dt: number, chargeK: number): void {
    const { base, rpm } = this
    this.chokeClosed = this.chokeNow()
    const steady = this.meterGS()
    let metered = rpm > 30 ? steady : 0
    this.secondaries?.step(dt, this.throttlePct, this.throttleAirGS)
    // While cranking, air comes in single strokes: their peaks draw more than the mean flow would.
    if (rpm < strokesBelowRpm) metered *= 1 + strokeGain * (1 - rpm / strokesBelowRpm)
    const given = metered + this.pump.stepGS(dt, this.throttlePct)
    this.cold = coldness(this.heat.wallC)
    const chargeG = this.manifoldPa / (this.fillPaPerGK * chargeK)
    const cylinderFuel = this.intake.stepGS(
      dt,
      given,
      rpm,
      this.manifoldPa,
      chargeG,
      this.cylinderAirGS,
      this.cold,
    )
    this.meteredGS = metered
    this.cylinderFuelGS = cylinderFuel
    this.fuelG += given * dt
    this.lambda = this.lambdaOf(this.cylinderAirGS, cylinderFuel, base.air.dryShare)
    this.settledLambda = this.lambdaOf(this.throttleAirGS, metered, base.air.dryShare)
  }

  private lambdaOf(airGS: number, fuelGS: number, dryShare: number): number {
    return fuelGS > 1e-9 ? (airGS * dryShare) / (fuelGS * this.stoich) : Number.POSITIVE_INFINITY
  }

  /** Fuel of the steady circuits, g/s. */
  private meterGS(): number {
    const { base, rpm, manifoldPa, throttlePct } = this
    if (this.injection) {
      return this.injection.fuelGS(rpm, manifoldPa, coldness(this.coolantC), throttlePct, base)
    }
    const ambientPa = base.air.pressurePa
    this.metering.meter(
      this.throttleAirGS,
      throttlePct,
      flowFactorFast(manifoldPa / ambientPa),
      ambientPa,
      manifoldPa,
      base.air.densityKgM3,
      this.secondaryOpen,
      this.secondaries?.flow ?? 0,
      this.chokeClosed,
      rpm < strokesBelowRpm && !this.fired,
    )
    return this.metering.fuelGS
  }

  private chokeNow(): number {
    if (this.injection) return 0
    const closed = (this.chokeOpenC - this.heat.bimetalC) / (this.chokeOpenC - this.chokeColdC)
    return closed <= 0 ? 0 : Math.min(closed, 1.25)
  }
}
