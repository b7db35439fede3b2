import { rpmOfSpeed } from './calibration.ts'
import type { Engine } from './engine.ts'
import type { ParameterValues } from './parameters.ts'

/** Where a change of gear stands. */
type Shift = 'none' | 'declutching' | 'changing' | 'engaging'

/** Clutch and gear lever of a manual gearbox, or the selector of an automatic one. */
export class GearLever {
  gear = 0
  /** The gear that the driver wants; 0 neutral. */
  wanted = 0
  /** 0 pedal down … 1 released. */
  clutch = 1
  readonly isManual: boolean
  readonly top: number
  /** Engine speed for each m/s of road speed, by gear. */
  readonly rpmPerMs = new Float64Array(8)
  private readonly idleRpm: number
  private readonly redlineRpm: number
  private shift: Shift = 'none'
  private shiftS = 0
  private nextGear = 0

  constructor(p: ParameterValues) {
    this.isManual = p['vehicle.automatic'] < 0.5
    this.top = Math.round(p['vehicle.gears'])
    for (let gear = 1; gear <= this.top; gear++) this.rpmPerMs[gear] = rpmOfSpeed(p, 1, gear)
    this.idleRpm = p['engine.idle_rpm']
    this.redlineRpm = p['engine.redline_rpm']
  }

  get isShifting(): boolean {
    return this.shift !== 'none'
  }
  /** The foot leaves the throttle meanwhile. */
  get isFootOff(): boolean {
    return this.shift === 'declutching' || this.shift === 'changing'
  }

  /** Gear for a speed and pedal, with a band so that it does not hunt. */
  gearFor(speedMs: number, pedalPct: number): number {
    const wide = Math.min(1, pedalPct / 85)
    const up = (0.4 + 0.5 * wide * wide) * this.redlineRpm
    const down = (0.24 + 0.24 * wide * wide) * this.redlineRpm
    const { rpmPerMs, top } = this
    let gear = this.gear > 0 ? this.gear : 1
    if (this.gear === 0) {
      while (gear < top && speedMs * rpmPerMs[gear] > up) gear++
      return gear
    }
    if (gear < top && speedMs * rpmPerMs[gear] > up && speedMs * rpmPerMs[gear + 1] > down * 0.95) gear++
    else if (
      gear > 1 &&
      speedMs * rpmPerMs[gear] < down &&
      speedMs * rpmPerMs[gear - 1] < 0.85 * this.redlineRpm
    )
      gear--
    return gear
  }

  step(dt: number, engine: Engine, footPct: number): void {
    if (this.isManual) this.stepManual(dt, engine, footPct)
    else this.stepAutomatic(dt, engine)
  }

  private stepAutomatic(dt: number, engine: Engine): void {
    this.shiftS += dt
    if (this.wanted === this.gear) return
    if (this.wanted === 0 || this.gear === 0) {
      // Into or out of neutral only near standstill or when nothing else is wanted.
      if (engine.speedMs < 3 || this.gear === 0) this.gear = this.wanted
      return
    }
    if (this.shiftS > 1) {
      this.gear += this.wanted > this.gear ? 1 : -1
      this.shiftS = 0
    }
  }

  private stepManual(dt: number, engine: Engine, footPct: number): void {
    if (this.shift === 'none' && this.wanted !== this.gear) {
      this.nextGear = this.wanted
      this.shift = 'declutching'
      this.shiftS = 0
    }
    this.shiftS += dt
    switch (this.shift) {
      case 'declutching':
        this.clutch = Math.max(0, this.clutch - dt / 0.12)
        if (this.clutch === 0 && footPct < 3) {
          this.shift = 'changing'
          this.shiftS = 0
        }
        return
      case 'changing':
        if (this.shiftS > 0.25) {
          this.gear = this.nextGear
          this.shift = this.gear === 0 ? 'none' : 'engaging'
          this.shiftS = 0
        }
        return
      case 'engaging':
        this.engage(dt, engine)
        return
      case 'none':
        if (this.gear > 0 && engine.rpm < 0.85 * this.idleRpm) {
          // The pedal goes down before it stalls.
          this.clutch = Math.max(0, this.clutch - dt / 0.1)
          this.shift = 'engaging'
        } else if (this.gear === 0) this.clutch = 1
    }
  }

  private engage(dt: number, engine: Engine): void {
    const { idleRpm } = this
    const shaft = engine.speedMs * this.rpmPerMs[this.gear]
    if (shaft < 1.25 * idleRpm) {
      // Moving off: as much clutch as the engine can carry.
      const bite = (engine.rpm - 0.95 * idleRpm) / (1.1 * idleRpm)
      this.clutch += Math.max(-dt / 0.2, Math.min(dt / 0.9, Math.min(Math.max(bite, 0), 0.6) - this.clutch))
    } else {
      this.clutch = Math.min(1, this.clutch + dt / 0.35)
      if (this.clutch >= 1) this.shift = 'none'
    }
  }
}
