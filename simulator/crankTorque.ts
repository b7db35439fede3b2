import type { Controls } from './controls.ts'
import { rpmPerRad } from './driveline.ts'
import { coldness, type EngineBase, mixtureTorque, unburntShare } from './engineBase.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'

/** Speed at which the starter turns the engine, rad/s (about 200 rpm). */
const crankRadS = 21
/** Time of good firing after which the engine has caught, s. */
const catchS = 0.15

/** What the charge in the cylinders is at this moment. */
export interface Charge {
  readonly rpm: number
  readonly throttlePct: number
  readonly manifoldPa: number
  readonly cylinderAirGS: number
  readonly lambda: number
  readonly coolantC: number
  /** How cold the wall is, 0 warm. */
  readonly cold: number
}

/** Torque at the crank: firing with its failures and scatter, friction and the starter. */
export class CrankTorque {
  /** The engine runs by itself. */
  fired = false
  /** Share of firings that fail at this moment. */
  misfire = 0
  /** Torque without the starter's, Nm. */
  ownNm = 0
  private readonly base: EngineBase
  private readonly random: Random
  private readonly plugMisfire: number
  private readonly idleRpm: number
  private readonly overrunMisfire: number
  private readonly leanLimit: number
  private readonly torqueScatter: number
  private readonly overlap: number
  private readonly cylinders: number
  private torqueNoise = 0
  private sinceFireS = 0

  constructor(p: ParameterValues, base: EngineBase, random: Random) {
    this.base = base
    this.random = random
    this.plugMisfire = p['engine.misfire']
    this.idleRpm = p['engine.idle_rpm']
    this.overrunMisfire = p['engine.overrun_misfire']
    this.leanLimit = p['engine.lean_limit']
    this.torqueScatter = p['engine.torque_scatter']
    this.overlap = p['engine.overlap']
    this.cylinders = p['engine.cylinders']
  }

  /** Torque at the crank, Nm. */
  step(dt: number, charge: Charge, controls: Controls): number {
    const { base } = this
    const { rpm } = charge
    const load = charge.manifoldPa / base.air.pressurePa
    const vapour = charge.lambda / (1 - unburntShare(charge.cold))
    let indicated = controls.ignition ? base.indicatedTorqueNm(charge.cylinderAirGS, rpm, load, vapour) : 0
    let misfire = this.plugMisfire
    if (rpm > 1.5 * this.idleRpm && load < 0.27 && charge.throttlePct < 1.5) {
      misfire = Math.max(misfire, Math.min(1, (0.27 - load) * 9) * this.overrunMisfire)
    }
    if (vapour > this.leanLimit) misfire = Math.max(misfire, Math.min(1, (vapour - this.leanLimit) * 3))
    this.misfire = this.fired ? misfire : 0
    // Cycle scatter reaches the crank as torque noise whose bandwidth is the firing rate.
    const noise = this.torqueScatter * (1 + 4 * this.overlap * (load < 0.45 ? 1 : 0))
    const pull = Math.min(1, (rpm * this.cylinders * dt) / 120)
    this.torqueNoise += pull * (noise * 2.2 * this.random.normal() - this.torqueNoise)
    indicated *= (1 - 0.8 * misfire) * (1 + this.torqueNoise)
    const coldOil = coldness(charge.coolantC) * 0.9
    const loss = rpm > 1 ? base.lossTorqueNm(rpm, charge.manifoldPa, coldOil) * Math.min(1, rpm / 60) : 0
    let torque = indicated - loss
    if (controls.starter) {
      const drag = base.lossTorqueNm(200, charge.manifoldPa, coldOil)
      const push = drag * (1 + (crankRadS - rpm / rpmPerRad) * 0.2)
      if (push > 0) torque += push
    }
    const isFiring =
      controls.ignition && mixtureTorque(vapour, this.leanLimit) > 0.35 && charge.cylinderAirGS > 0.2
    this.catch(dt, isFiring, rpm)
    this.ownNm = indicated - loss
    return torque
  }

  private catch(dt: number, isFiring: boolean, rpm: number): void {
    if (!this.fired && isFiring && rpm > 60) {
      this.sinceFireS += dt
      if (this.sinceFireS > catchS) this.fired = true
    } else if (!isFiring) this.sinceFireS = 0
  }
}
