import { type Calibration, drivelineEfficiency, roadForceN } from './calibration.ts'
import { chargeTemperatureK, coldness, EngineBase, mixtureTorque, unburntShare } from './engineBase.ts'
import { Injection } from './injection.ts'
import { Metering } from './metering.ts'
import type { ParameterValues } from './parameters.ts'
import type { PartEffects } from './partEffects.ts'
import { pumpStroke, shotFlowGS } from './pumpCalibration.ts'
import type { Random } from './random.ts'
import { secondaryFromPct, secondaryTarget } from './steadyPoint.ts'
import { airGasConstant, flowFactorFast } from './throttleFlow.ts'
import { carburettorFilmInto, coolFilm, type FilmParameters, injectedFilmInto } from './wallFilm.ts'

/** What the person at the wheel does at this moment. */
export interface Controls {
  /** Foot on the throttle, %. */
  footPct: number
  brakeN: number
  /** 0 pedal down … 1 released. */
  clutch: number
  /** 0 neutral, 1 … */
  gear: number
  starter: boolean
  ignition: boolean
  gradePct: number
}

const rpmPerRad = 30 / Math.PI
/** Speed at which the starter turns the engine, rad/s (about 200 rpm). */
const crankRadS = 21
/** Below this the flow pulsates so much that its mean understates the fuel, and by how much at standstill; chosen here. */
const strokesBelowRpm = 450
const strokeGain = 2
/** Longest pump delay that is kept, steps. */
const delaySlots = 256

/**
 * Engine, carburettor (or throttle body), wall film, warm-up and car, stepped in small equal steps of time. All public fields are the
 * state of this moment; pressures in Pa, flows in g/s, angles in rad.
 */
export class Engine {
  readonly base: EngineBase
  readonly metering: Metering
  readonly injection: Injection | undefined
  readonly controls: Controls = {
    footPct: 0,
    brakeN: 0,
    clutch: 1,
    gear: 0,
    starter: false,
    ignition: false,
    gradePct: 0,
  }

  rpm = 0
  speedMs = 0
  gear = 0
  throttlePct = 0
  manifoldPa: number
  /** Air through throttle, and into the cylinders. */
  airGS = 0
  cylinderAirGS = 0
  /** Fuel metered by the steady circuits, the pump's or acceleration shot, and what reaches the cylinders. */
  meteredGS = 0
  shotGS = 0
  cylinderFuelGS = 0
  /** λ in the cylinders now, and λ when film and pump are at rest, both without wander. Infinity without fuel. */
  lambda = Number.POSITIVE_INFINITY
  settledLambda = Number.POSITIVE_INFINITY
  coolantC: number
  wallC: number
  bimetalC: number
  chokeClosed = 0
  secondaryOpen = 0
  exhaustC: number
  torqueNm = 0
  wheelPowerW = 0
  distanceM = 0
  fuelG = 0
  fired = false
  /** Share of firings that fail at this moment. */
  misfire = 0

  private readonly p: ParameterValues
  private readonly k: Calibration
  private readonly parts: PartEffects
  private readonly random: Random
  private readonly film: FilmParameters = { share: 0.5, timeS: 1 }
  private filmG = 0
  private vapourG = 0
  private pendingG = 0
  private stroke = 0
  private secondaryFlow = 0
  private camStep = 0
  private idleDrift = 0
  private torqueNoise = 0
  private readonly strokeLog = new Float64Array(delaySlots)
  private strokeHead = 0
  private sinceFireS = 0
  private readonly idleDriftSize: number
  private readonly leakScale: number
  private readonly shareScale: number
  private readonly timeScale: number
  private readonly fixedShare: number
  private readonly fixedTimeS: number
  private readonly plenumShare: number
  private readonly secondaries: number
  private readonly secondaryTimeS: number
  private readonly secondaryLagS: number
  private readonly pumpDelayS: number
  private readonly plugMisfire: number
  private readonly idleRpm: number
  private readonly overrunMisfire: number
  private readonly leanLimit: number
  private readonly torqueScatter: number
  private readonly overlap: number
  private readonly cylinders: number
  private readonly inertia: number
  private readonly automatic: number
  private readonly gradePct: number
  private readonly massKg: number
  private readonly redlineRpm: number
  private readonly thermostatC: number
  private readonly chokeTauS: number
  private readonly venturiRatio: number
  private readonly stiffness: number
  private readonly radius: number
  private readonly heatPerG: number
  private readonly chokeColdC: number
  private readonly fillPaPerGK: number
  private readonly stoich: number
  private readonly coldStart: number
  private readonly gearRatios: Float64Array
  private readonly strokeG: number
  private readonly rateGS: number
  private readonly chokeOpenC: number
  private readonly converterNm: number
  private readonly clutchNm: number
  private readonly topFlowGS: number

  constructor(
    p: ParameterValues,
    calibration: Calibration,
    parts: PartEffects,
    startCoolantC: number,
    random: Random,
  ) {
    this.p = p
    this.k = calibration
    this.parts = parts
    this.random = random
    this.base = new EngineBase(p)
    const c = calibration.coefficients
    this.metering = new Metering(p, parts, {
      ...c,
      startPa: c.startPa * p['carb.main_start_scale'],
      trend: c.trend + p['carb.trend_add'],
      slotArea: c.slotArea * p['carb.slot_scale'],
    })
    this.injection = p['injection.fitted'] > 0.5 ? new Injection(p) : undefined
    this.idleDriftSize = p['noise.idle_drift']
    this.leakScale = p['carb.idle_leak_scale']
    this.shareScale = p['film.share_scale']
    this.timeScale = p['film.time_scale']
    this.fixedShare = p['film.fixed_share']
    this.fixedTimeS = p['film.fixed_time_s']
    this.plenumShare = p['film.plenum_share']
    this.secondaries = p['carb.secondaries']
    this.secondaryTimeS = p['carb.secondary_time_s']
    this.secondaryLagS = p['carb.secondary_lag_s']
    this.pumpDelayS = p['carb.pump_delay_s']
    this.plugMisfire = p['engine.misfire']
    this.idleRpm = p['engine.idle_rpm']
    this.overrunMisfire = p['engine.overrun_misfire']
    this.leanLimit = p['engine.lean_limit']
    this.torqueScatter = p['engine.torque_scatter']
    this.overlap = p['engine.overlap']
    this.cylinders = p['engine.cylinders']
    this.inertia = p['engine.inertia_kgm2']
    this.automatic = p['vehicle.automatic']
    this.gradePct = p['vehicle.grade_pct']
    this.massKg = p['vehicle.mass_kg']
    this.redlineRpm = p['engine.redline_rpm']
    this.thermostatC = p['engine.thermostat_C']
    this.chokeTauS = p['choke.heat_tau_s']
    this.venturiRatio =
      (p['carb.secondaries'] * p['carb.secondary_venturi_mm'] ** 2) /
      (p['carb.primaries'] * p['carb.venturi_mm'] ** 2)
    this.stiffness = parts.spring * p['carb.secondary_spring']
    this.radius = p['vehicle.tyre_m'] / (2 * Math.PI)
    // 20 → 80 °C in five to seven minutes of light driving (common practice, no source).
    this.heatPerG = (0.62 / p['engine.displacement_L']) * p['engine.heat_scale']
    this.chokeColdC = p['choke.cold_C']
    this.manifoldPa = this.base.air.pressurePa
    this.stoich = p['engine.stoichiometric_ratio']
    this.fillPaPerGK = airGasConstant / p['engine.manifold_L']
    this.coolantC = startCoolantC
    this.wallC = startCoolantC
    this.bimetalC = startCoolantC
    this.exhaustC = startCoolantC
    this.coldStart = startCoolantC
    this.gearRatios = new Float64Array(7)
    for (let g = 1; g <= 6; g++)
      this.gearRatios[g] = p[`vehicle.gear_${g}` as 'vehicle.gear_1'] * p['vehicle.final_drive']
    this.strokeG = calibration.pumpStrokeG * parts.pumpVolume * p['carb.pump_scale']
    this.rateGS = calibration.pumpRateGS * parts.squirter
    this.chokeOpenC = p['choke.open_C'] + 4 * parts.chokeNotch
    const stallRad = p['vehicle.stall_rpm'] / rpmPerRad
    const wide = p['engine.displacement_L'] * 62
    this.converterNm = wide / (stallRad * stallRad)
    this.clutchNm = wide * 1.9
    this.topFlowGS = this.base.pumpedGS(0.85 * p['engine.redline_rpm'], this.base.air.pressurePa, 310)
    this.chokeClosed = this.chokeNow()
    this.camStep = this.chokeClosed
  }

  private chokeNow(): number {
    if (this.injection) return 0
    const closed = (this.chokeOpenC - this.bimetalC) / (this.chokeOpenC - this.chokeColdC)
    return closed <= 0 ? 0 : Math.min(closed, 1.25)
  }

  /** Coldness of the injected car's enrichment by coolant, 0 … 1.5. */
  private coldEnrichment(): number {
    return coldness(this.coolantC)
  }

  /** Advances by `dt` seconds (5 ms or less). */
  step(dt: number): void {
    const { base, controls } = this
    const rpm = this.rpm
    const ambientPa = base.air.pressurePa

    // Throttle: the fast-idle cam holds it open until the foot lets the cam fall to the choke's step.
    if (controls.footPct > 1.5 && this.chokeClosed < this.camStep) this.camStep = this.chokeClosed
    const camPct = (this.injection ? coldness(this.coolantC) * 0.8 : this.camStep) * this.k.fastIdlePct
    const throttlePct = Math.max(controls.footPct, camPct)
    this.throttlePct = Math.min(throttlePct, 100)

    // Air.
    const chargeK = chargeTemperatureK(base.air.temperatureK, this.wallC)
    if (this.idleDriftSize > 0) {
      this.idleDrift +=
        (-this.idleDrift / 40) * dt + this.idleDriftSize * Math.sqrt((2 * dt) / 40) * this.random.normal()
    }
    const leak = this.k.leakMm2 * this.leakScale * (1 + this.idleDrift)
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
    let manifoldPa = this.manifoldPa + (fill * (flow - pumped)) / (1 - (slope < 0 ? fill * slope : 0))
    const mostPa = ambientPa * 0.9995
    if (manifoldPa > mostPa) manifoldPa = mostPa
    else if (manifoldPa < 0.06 * ambientPa) manifoldPa = 0.06 * ambientPa
    this.manifoldPa = manifoldPa
    const cylinderAir = base.pumpedGS(rpm, manifoldPa, chargeK)
    const airGS = base.throttleFlowGS(area, manifoldPa)
    this.airGS = airGS
    this.cylinderAirGS = cylinderAir
    const dry = base.air.dryShare

    // Fuel.
    this.chokeClosed = this.chokeNow()
    const factor = flowFactorFast(manifoldPa / ambientPa)
    let metered: number
    if (this.injection) {
      metered = this.injection.fuelGS(rpm, manifoldPa, this.coldEnrichment(), this.throttlePct, base)
    } else {
      const metering = this.metering
      metering.meter(
        airGS,
        this.throttlePct,
        factor,
        ambientPa,
        manifoldPa,
        base.air.densityKgM3,
        this.secondaryOpen,
        this.secondaryFlow,
        this.chokeClosed,
        rpm < 450 && !this.fired,
      )
      metered = metering.fuelGS
      this.stepSecondaries(dt)
    }
    if (!(rpm > 30)) metered = 0
    // While cranking, air comes in single strokes: their peaks draw more than the mean flow would.
    else if (rpm < strokesBelowRpm) metered *= 1 + strokeGain * (1 - rpm / strokesBelowRpm)
    const shot = this.stepPump(dt)

    // Wall film.
    const film = this.film
    const cold = coldness(this.wallC)
    if (this.injection) injectedFilmInto(film, rpm, manifoldPa / 1e5)
    else carburettorFilmInto(film, rpm, manifoldPa / 1e5)
    coolFilm(film, cold)
    let share = film.share * this.shareScale
    let timeS = film.timeS * this.timeScale
    if (this.fixedShare >= 0) share = this.fixedShare
    if (this.fixedTimeS > 0) timeS = this.fixedTimeS
    const given = metered + shot
    const keep = Math.exp(-dt / timeS)
    const landing = share * given
    const settled = landing * timeS
    const before = this.filmG
    this.filmG = settled + (before - settled) * keep
    const evaporated = landing + (before - this.filmG) / dt
    const entering = (1 - share) * given + evaporated
    // Part of the manifold's volume mixes: fuel in it lags as the charge in it does.
    const plenumG = this.plenumShare * (manifoldPa / (this.fillPaPerGK * chargeK))
    let cylinderFuel = 0
    if (rpm > 30 && cylinderAir > 1e-3) {
      const leave = plenumG > 1e-6 ? 1 - Math.exp((-cylinderAir * dt) / plenumG) : 1
      const total = this.vapourG + entering * dt
      const drawn = plenumG > 1e-6 ? this.vapourG * leave + entering * dt * 0.5 * leave : total
      this.vapourG = total - drawn
      cylinderFuel = drawn / dt
    }
    this.meteredGS = metered
    this.shotGS = shot
    this.cylinderFuelGS = cylinderFuel
    this.fuelG += given * dt
    this.lambda =
      cylinderFuel > 1e-9 ? (cylinderAir * dry) / (cylinderFuel * this.stoich) : Number.POSITIVE_INFINITY
    this.settledLambda = metered > 1e-9 ? (airGS * dry) / (metered * this.stoich) : Number.POSITIVE_INFINITY

    this.stepTorque(dt, cold)
    this.stepHeat(dt, cold)
  }

  private stepSecondaries(dt: number): void {
    const { p } = this
    if (this.secondaries === 0) return
    const open = this.secondaryOpen
    const primary = this.airGS / (1 + open * this.venturiRatio)
    const target =
      this.throttlePct > secondaryFromPct
        ? secondaryTarget(p, primary, this.k.primaryMostGS, this.parts.spring)
        : 0
    const timeS = target > open ? this.secondaryTimeS * this.stiffness : 0.08
    this.secondaryOpen = open + ((target - open) * dt) / (timeS + dt)
    if (this.secondaryOpen < 1e-4) this.secondaryOpen = 0
    // The nozzles flow when their signal stands: they follow the opening by a moment.
    const wanted = this.secondaryOpen > 0.01 ? 1 : 0
    this.secondaryFlow += ((wanted - this.secondaryFlow) * dt) / (this.secondaryLagS + dt)
  }

  private stepPump(dt: number): number {
    const slots = Math.min(Math.round(this.pumpDelayS / dt), delaySlots - 1)
    const log = this.strokeLog
    this.strokeHead = (this.strokeHead + 1) & (delaySlots - 1)
    log[this.strokeHead] = this.injection ? this.throttlePct / 100 : pumpStroke(this.throttlePct)
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

  private stepTorque(dt: number, cold: number): void {
    const { base, controls, p } = this
    const load = this.manifoldPa / base.air.pressurePa
    const rpm = this.rpm
    let omega = rpm / rpmPerRad
    const vapour = this.lambda / (1 - unburntShare(cold))
    let indicated = controls.ignition ? base.indicatedTorqueNm(this.cylinderAirGS, rpm, load, vapour) : 0
    let misfire = this.plugMisfire
    if (rpm > 1.5 * this.idleRpm && load < 0.27 && this.throttlePct < 1.5) {
      misfire = Math.max(misfire, Math.min(1, (0.27 - load) * 9) * this.overrunMisfire)
    }
    if (vapour > this.leanLimit) misfire = Math.max(misfire, Math.min(1, (vapour - this.leanLimit) * 3))
    this.misfire = this.fired ? misfire : 0
    // Cycle scatter reaches the crank as torque noise whose bandwidth is the firing rate.
    const noise = this.torqueScatter * (1 + 4 * this.overlap * (load < 0.45 ? 1 : 0))
    const pull = Math.min(1, (rpm * this.cylinders * dt) / 120)
    this.torqueNoise += pull * (noise * 2.2 * this.random.normal() - this.torqueNoise)
    indicated *= (1 - 0.8 * misfire) * (1 + this.torqueNoise)
    const firing =
      controls.ignition && mixtureTorque(vapour, this.leanLimit) > 0.35 && this.cylinderAirGS > 0.2
    const coldOil = coldness(this.coolantC) * 0.9
    const loss = rpm > 1 ? base.lossTorqueNm(rpm, this.manifoldPa, coldOil) * Math.min(1, rpm / 60) : 0
    let torque = indicated - loss
    if (controls.starter) {
      const drag = base.lossTorqueNm(200, this.manifoldPa, coldOil)
      const push = drag * (1 + (crankRadS - omega) * 0.2)
      if (push > 0) torque += push
    }
    if (!this.fired && firing && rpm > 60) {
      this.sinceFireS += dt
      if (this.sinceFireS > 0.15) this.fired = true
    } else if (!firing) this.sinceFireS = 0
    this.torqueNm = indicated - loss

    // Drivetrain.
    const inertia = this.inertia
    const radius = this.radius
    const gear = controls.gear
    this.gear = gear
    const ratio = gear > 0 ? this.gearRatios[gear] : 0
    let driveN = 0
    let loadNm = 0
    let locked = false
    if (gear > 0) {
      const shaft = (this.speedMs / radius) * ratio
      if (this.automatic > 0.5) {
        const sr = omega > 5 ? shaft / omega : 1
        if (sr < 1) {
          const s4 = sr > 0 ? sr ** 6 : 0
          loadNm = this.converterNm * omega * omega * (1 - s4)
          const multiply = 2 - 1.02 * Math.min(Math.max(sr, 0) / 0.88, 1)
          driveN = (loadNm * Math.max(multiply, 1) * ratio * drivelineEfficiency) / radius
        } else {
          loadNm = -Math.min(
            this.converterNm * shaft * shaft * 3 * (sr - 1),
            this.converterNm * shaft * shaft * 0.8,
          )
          driveN = (loadNm * ratio) / radius / drivelineEfficiency
        }
      } else if (controls.clutch > 0.02) {
        const slip = omega - shaft
        const most = this.clutchNm * controls.clutch
        if (controls.clutch > 0.95 && Math.abs(slip) < 4) locked = true
        else {
          const bite = Math.max(-1, Math.min(1, slip / 14))
          loadNm = most * bite
          driveN = (loadNm * ratio * drivelineEfficiency) / radius
        }
      }
    }
    const resist =
      roadForceN(p, this.speedMs, base.air.densityKgM3, controls.gradePct + this.gradePct) *
      (this.speedMs > 0.05 || controls.gradePct !== 0 ? 1 : 0)
    const mass = this.massKg * 1.03
    if (locked) {
      // One body: engine and car share an acceleration.
      const g = ratio / radius
      const eff = torque > 0 ? drivelineEfficiency : 1 / drivelineEfficiency
      const push = torque * g * eff
      const acceleration = (push - resist - this.brake()) / (mass + inertia * g * g)
      const speed = this.speedMs + acceleration * dt
      this.speedMs = Math.max(speed, 0)
      // Any small slip at locking is closed within a few steps rather than at once.
      omega += (this.speedMs * g - omega) * Math.min(1, dt * 40) + acceleration * g * dt
      driveN = push - inertia * g * acceleration * g
    } else {
      omega += ((torque - loadNm) / inertia) * dt
      const brake = this.brake()
      let speed = this.speedMs + ((driveN - resist - brake) / mass) * dt
      if (speed < 0) speed = 0
      this.speedMs = speed
    }
    if (omega < 0) omega = 0
    if (!controls.starter && omega * rpmPerRad < 90 && rpm > omega * rpmPerRad) {
      // Below this no flywheel carries an engine over compression.
      omega -= omega * Math.min(1, 6 * dt)
      if (omega < 2) omega = 0
      if (this.fired && omega === 0) this.fired = false
    }
    const redline = (this.redlineRpm * 1.06) / rpmPerRad
    this.rpm = Math.min(omega, redline) * rpmPerRad
    this.wheelPowerW = driveN * this.speedMs
    this.distanceM += this.speedMs * dt
  }

  private brake(): number {
    return this.speedMs > 0.01 ? this.controls.brakeN : this.controls.brakeN * 0.2
  }

  private stepHeat(dt: number, cold: number): void {
    const { base } = this
    const airC = base.air.temperatureK - 273.15
    const running = this.rpm > 300 && this.fired
    const heat = running ? this.heatPerG * Math.min(this.cylinderFuelGS, 12) : 0
    let loss = (this.coolantC - airC) / 1500
    if (this.coolantC > this.thermostatC) loss += (this.coolantC - this.thermostatC) * 0.09
    this.coolantC += (heat - loss) * dt
    // The heat riser warms the floor of the manifold ahead of the coolant.
    const wallGoal = running ? this.coolantC + 14 * Math.min(1, cold * 2) : this.coolantC
    this.wallC += ((wallGoal - this.wallC) * dt) / 40
    const bimetalGoal = running ? 95 : airC
    const tau = running ? this.chokeTauS : 900
    this.bimetalC += ((bimetalGoal - this.bimetalC) * dt) / tau
    const flow = this.cylinderAirGS / this.topFlowGS
    const gasC = running ? 340 + 560 * Math.sqrt(Math.min(flow, 1)) : airC
    this.exhaustC += ((gasC - this.exhaustC) * dt) / (running ? 6 : 60)
  }

  /** True while started from cold, for the start procedure. */
  get startedCold(): boolean {
    return this.coldStart < 45
  }
}
