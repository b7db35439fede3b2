import { type Calibration, roadPoint } from './calibration.ts'
import { DriverFoot, liftRate } from './driverFoot.ts'
import type { Engine } from './engine.ts'
import { GearLever } from './gearLever.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'

/** Brake that holds a standing car, N. */
export const standingBrakeN = 4000
/** A car slower than this creeps, m/s; after so long, s, the driver brakes so many times harder than on the road. Chosen here. */
const creepMs = 2
const mostCreepS = 5
const hardBrakeShare = 4

/** What a driver has at hand, and how far the present step of the drive has come. */
export class DriverSeat {
  readonly engine: Engine
  readonly p: ParameterValues
  readonly foot: DriverFoot
  readonly lever: GearLever
  brakeN = 0
  inStepS = 0
  /** Phases of the step, numbered as each step needs them, and the time in the present one. */
  phase = 0
  phaseS = 0
  private readonly k: Calibration
  /** Time of this step in which the car crept on against the brake, s. */
  private creepS = 0

  constructor(engine: Engine, p: ParameterValues, calibration: Calibration, random: Random) {
    this.engine = engine
    this.p = p
    this.k = calibration
    this.foot = new DriverFoot(p['driver.tremble_pct'], random)
    this.lever = new GearLever(p)
  }

  enter(phase: number): void {
    this.phase = phase
    this.phaseS = 0
  }

  lift(): void {
    this.foot.press(0, liftRate)
  }

  /** Brakes with a share of what the driver ever uses. */
  brake(share: number): void {
    this.brakeN = share * this.p['driver.brake_m_s2'] * this.p['vehicle.mass_kg']
  }

  /**
   * Brakes to a standstill; then in gear with the foot on the brake (automatic), or in neutral. Harder when a fast idle pushes the car along.
   */
  stand(dt: number, inGear: boolean): void {
    const { engine, lever } = this
    if (engine.speedMs > 0.1) {
      lever.wanted = lever.isManual ? (engine.speedMs > 4 ? lever.gear : 0) : 1
      if (engine.speedMs < creepMs) this.creepS += dt
      this.brake(this.creepS > mostCreepS ? hardBrakeShare : 1)
    } else {
      lever.wanted = inGear && !lever.isManual ? 1 : 0
      if (this.creepS > mostCreepS) this.brake(hardBrakeShare)
      else this.brakeN = standingBrakeN
    }
  }

  /** Another step of the drive begins. */
  beginStep(): void {
    this.inStepS = 0
    this.enter(0)
    this.brakeN = 0
    this.creepS = 0
  }

  /** Throttle that holds a speed on the road as it is now, %. */
  holdingPct(speedMs: number): number {
    const { engine, lever, k } = this
    const gear = lever.gear > 0 ? lever.gear : lever.top
    const grade = engine.controls.gradePct + this.p['vehicle.grade_pct']
    const point = roadPoint(engine.base, k.leakMm2, k.primaryMostGS, speedMs, gear, 1, grade)
    return point ? Math.max(point.throttlePct, 0) : 85
  }

  /** Moves foot, clutch and lever, and hands all to the engine. */
  work(dt: number): void {
    const { engine, foot, lever } = this
    const { controls } = engine
    foot.move(dt, lever.isFootOff)
    lever.step(dt, engine, foot.pct)
    controls.footPct = foot.pressedPct(dt)
    controls.brakeN = this.brakeN
    controls.clutch = lever.clutch
    controls.gear = lever.gear
  }
}
