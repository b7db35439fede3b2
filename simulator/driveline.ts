import { drivelineEfficiency, roadForceN } from './calibration.ts'
import type { Controls } from './controls.ts'
import type { ParameterValues } from './parameters.ts'

export const rpmPerRad = 30 / Math.PI
/** Torque of the converter at stall speed, Nm for each litre, and how much more a clutch carries; chosen here. */
const torquePerLitre = 62
const clutchMargin = 1.9
/** Speed below which a slowing engine is no longer carried over compression, rpm; chosen here. */
const carriesRpm = 90

/** Crankshaft, clutch or converter, gears, wheels and the car on its road. */
export class Driveline {
  rpm = 0
  speedMs = 0
  wheelPowerW = 0
  distanceM = 0
  private readonly p: ParameterValues
  private readonly airDensityKgM3: number
  private readonly inertia: number
  private readonly isAutomatic: boolean
  private readonly gradePct: number
  private readonly massKg: number
  private readonly radius: number
  private readonly mostRadS: number
  private readonly gearRatios = new Float64Array(7)
  private readonly converterNm: number
  private readonly clutchNm: number
  /** Of this step: crank speed in rad/s, force at the wheels, and torque taken from the crank. */
  private omega = 0
  private driveN = 0
  private loadNm = 0

  constructor(p: ParameterValues, airDensityKgM3: number) {
    this.p = p
    this.airDensityKgM3 = airDensityKgM3
    this.inertia = p['engine.inertia_kgm2']
    this.isAutomatic = p['vehicle.automatic'] > 0.5
    this.gradePct = p['vehicle.grade_pct']
    this.massKg = p['vehicle.mass_kg']
    this.radius = p['vehicle.tyre_m'] / (2 * Math.PI)
    this.mostRadS = (p['engine.redline_rpm'] * 1.06) / rpmPerRad
    for (let g = 1; g <= 6; g++)
      this.gearRatios[g] = p[`vehicle.gear_${g}` as 'vehicle.gear_1'] * p['vehicle.final_drive']
    const stallRad = p['vehicle.stall_rpm'] / rpmPerRad
    const wide = p['engine.displacement_L'] * torquePerLitre
    this.converterNm = wide / (stallRad * stallRad)
    this.clutchNm = wide * clutchMargin
  }

  /** Moves crank and car on by `dt` under the torque at the crank. */
  step(dt: number, torqueNm: number, controls: Controls): void {
    this.omega = this.rpm / rpmPerRad
    const ratio = controls.gear > 0 ? this.gearRatios[controls.gear] : 0
    const isLocked = this.couple(ratio, controls)
    const resist =
      roadForceN(this.p, this.speedMs, this.airDensityKgM3, controls.gradePct + this.gradePct) *
      (this.speedMs > 0.05 || controls.gradePct !== 0 ? 1 : 0)
    const mass = this.massKg * 1.03
    if (isLocked) {
      // One body: engine and car share an acceleration.
      const g = ratio / this.radius
      const eff = torqueNm > 0 ? drivelineEfficiency : 1 / drivelineEfficiency
      const push = torqueNm * g * eff
      const acceleration = (push - resist - this.brakeN(controls)) / (mass + this.inertia * g * g)
      const speed = this.speedMs + acceleration * dt
      this.speedMs = Math.max(speed, 0)
      // Any small slip at locking is closed within a few steps rather than at once.
      this.omega += (this.speedMs * g - this.omega) * Math.min(1, dt * 40) + acceleration * g * dt
      this.driveN = push - this.inertia * g * acceleration * g
    } else {
      this.omega += ((torqueNm - this.loadNm) / this.inertia) * dt
      const speed = this.speedMs + ((this.driveN - resist - this.brakeN(controls)) / mass) * dt
      this.speedMs = Math.max(speed, 0)
    }
    if (this.omega < 0) this.omega = 0
    if (!controls.starter) this.fade(dt)
    this.rpm = Math.min(this.omega, this.mostRadS) * rpmPerRad
    this.wheelPowerW = this.driveN * this.speedMs
    this.distanceM += this.speedMs * dt
  }

  /** Below this no flywheel carries an engine over compression. */
  private fade(dt: number): void {
    const rpm = this.omega * rpmPerRad
    if (!(rpm < carriesRpm && this.rpm > rpm)) return
    this.omega -= this.omega * Math.min(1, 6 * dt)
    if (this.omega < 2) this.omega = 0
  }

  /** Force and torque through clutch or converter; true when engine and car turn as one. */
  private couple(ratio: number, controls: Controls): boolean {
    this.driveN = 0
    this.loadNm = 0
    if (controls.gear === 0) return false
    const { omega, radius } = this
    const shaft = (this.speedMs / radius) * ratio
    if (this.isAutomatic) {
      this.convert(shaft, ratio)
      return false
    }
    if (!(controls.clutch > 0.02)) return false
    const slip = omega - shaft
    if (controls.clutch > 0.95 && Math.abs(slip) < 4) return true
    const bite = Math.max(-1, Math.min(1, slip / 14))
    this.loadNm = this.clutchNm * controls.clutch * bite
    this.driveN = (this.loadNm * ratio * drivelineEfficiency) / radius
    return false
  }

  /** A torque converter by its speed ratio: multiplies at stall, drags when the car drives the engine. */
  private convert(shaft: number, ratio: number): void {
    const { omega, radius, converterNm } = this
    const sr = omega > 5 ? shaft / omega : 1
    if (sr < 1) {
      const s4 = sr > 0 ? sr ** 6 : 0
      this.loadNm = converterNm * omega * omega * (1 - s4)
      const multiply = 2 - 1.02 * Math.min(Math.max(sr, 0) / 0.88, 1)
      this.driveN = (this.loadNm * Math.max(multiply, 1) * ratio * drivelineEfficiency) / radius
    } else {
      this.loadNm = -Math.min(converterNm * shaft * shaft * 3 * (sr - 1), converterNm * shaft * shaft * 0.8)
      this.driveN = (this.loadNm * ratio) / radius / drivelineEfficiency
    }
  }

  private brakeN({ brakeN }: Controls): number {
    return this.speedMs > 0.01 ? brakeN : brakeN * 0.2
  }
}
