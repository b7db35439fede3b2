import { type Calibration, roadPoint, rpmOfSpeed } from './calibration.ts'
import type { DriveStep } from './driveSteps.ts'
import type { Engine } from './engine.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'

/** After so many vain attempts to start, the drive is over. */
const mostTries = 8
/** Longest time to come to a wanted speed, s. */
const longestWayS = 75
/** Rates at which a foot leaves the throttle, %/s. */
const liftRate = 260
const easeRate = 24

/**
 * The person at the wheel: works through a drive's steps, with a foot that moves at finite rates, corrects a few times a second at
 * most and trembles a little, shifts gears, slips the clutch, brakes, and starts a stalled engine again.
 */
export class Driver {
  /** True after the last step. */
  done = false
  /** Called as a step with a `mark` begins. */
  onMark: (label: string) => void = () => {}

  private readonly engine: Engine
  private readonly p: ParameterValues
  private readonly k: Calibration
  private readonly random: Random
  private readonly steps: readonly DriveStep[]
  private readonly manual: boolean
  private readonly rpmPerMs = new Float64Array(8)
  private readonly idleRpm: number
  private readonly redlineRpm: number
  private readonly gears: number
  private readonly footPeriodS: number
  private readonly trembleSize: number
  private index = -1
  /** Before the first step: nothing, for no time. */
  private step: DriveStep = { do: 'wait', s: 0 }
  private inStepS = 0
  private phase = 0
  private phaseS = 0

  private foot = 0
  private footGoal = 0
  private footRate = 100
  private tremble = 0
  private sinceFootS = 0
  private lastError = 0
  private shift = 0
  private shiftS = 0
  private nextGear = 0
  private clutch = 1
  private gear = 0
  private wantedGear = 0
  private brakeN = 0
  private crankS = 0
  private tries = 0
  private pumpsLeft = 0
  private easedFrom = 0

  constructor(
    engine: Engine,
    p: ParameterValues,
    calibration: Calibration,
    steps: readonly DriveStep[],
    random: Random,
  ) {
    this.engine = engine
    this.p = p
    this.k = calibration
    this.random = random
    this.steps = steps
    this.manual = p['vehicle.automatic'] < 0.5
    this.gears = Math.round(p['vehicle.gears'])
    for (let gear = 1; gear <= this.gears; gear++) this.rpmPerMs[gear] = rpmOfSpeed(p, 1, gear)
    this.idleRpm = p['engine.idle_rpm']
    this.redlineRpm = p['engine.redline_rpm']
    this.footPeriodS = p['driver.foot_period_s']
    this.trembleSize = p['driver.tremble_pct']
  }

  private begin(index: number): void {
    this.index = index
    this.inStepS = 0
    this.phase = 0
    this.phaseS = 0
    this.brakeN = 0
    if (index >= this.steps.length) {
      this.done = true
      this.step = { do: 'wait', s: 36_000 }
      return
    }
    this.step = this.steps[index]
    if (this.step.grade_pct !== undefined) this.engine.controls.gradePct = this.step.grade_pct
    if (this.step.mark !== undefined) this.onMark(this.step.mark)
    if (this.step.do === 'start') {
      this.tries = 0
      this.crankS = 0
      this.pumpsLeft = this.step.pumps ?? (this.engine.coolantC < 45 ? 2 : 1)
    }
  }

  private next(): void {
    this.begin(this.index + 1)
  }

  private enter(phase: number): void {
    this.phase = phase
    this.phaseS = 0
  }

  private press(goalPct: number, ratePctS: number): void {
    this.footGoal = goalPct
    this.footRate = ratePctS
  }

  /** One small step of time; sets the engine's controls. */
  act(dt: number): void {
    const { engine } = this
    this.inStepS += dt
    this.phaseS += dt
    const { step } = this
    const stalled = engine.rpm < 50 && engine.controls.ignition && !engine.controls.starter
    if (stalled && step.do !== 'wait' && step.do !== 'off' && step.do !== 'start') this.restart(dt)
    else if (engine.controls.starter && step.do !== 'start') this.restart(dt)
    else this.follow(dt)
    this.moveFoot(dt)
    this.work(dt)
  }

  private follow(dt: number): void {
    const { engine, step } = this
    switch (step.do) {
      case 'wait':
        this.press(0, liftRate)
        if (this.inStepS >= step.s) this.next()
        return
      case 'off':
        engine.controls.ignition = false
        this.wantedGear = 0
        this.press(0, liftRate)
        if (this.inStepS >= step.s) this.next()
        return
      case 'start':
        this.startUp(dt)
        return
      case 'idle':
        this.press(0, liftRate)
        this.stand(step.in_gear === true)
        if (engine.speedMs > 0.1) this.inStepS = 0
        if (this.inStepS >= step.s) this.next()
        return
      case 'stop':
        this.press(0, 80)
        this.stand(true)
        if (engine.speedMs > 0.1) this.inStepS = 0
        else if (this.inStepS >= step.s) this.next()
        return
      case 'cruise':
        this.cruise(dt, step.kmh / 3.6, step.s, step.pedal_pct ?? 35, step.rate_pct_s ?? 28, step.gear)
        return
      case 'tip_in':
        this.tipIn(step)
        return
      case 'pull':
        this.pull(dt, step)
        return
      case 'overrun':
        this.press(0, liftRate)
        this.wantedGear = this.gear > 0 ? this.gear : this.gearFor(engine.speedMs, 20)
        if (this.inStepS >= step.s || engine.speedMs < (step.to_kmh ?? 15) / 3.6) this.next()
        return
      case 'throttle':
        this.press(step.pct, step.rate_pct_s ?? 60)
        if (engine.speedMs > 2) this.wantedGear = this.gearFor(engine.speedMs, step.pct)
        if (this.inStepS >= step.s) this.next()
        return
      case 'trace': {
        const stepS = step.step_s ?? 1
        const at = this.inStepS / stepS
        const i = Math.floor(at)
        if (i + 1 >= step.kmh.length) {
          this.next()
          return
        }
        const kmh = step.kmh[i] + (step.kmh[i + 1] - step.kmh[i]) * (at - i)
        const ahead = step.kmh[Math.min(i + 2, step.kmh.length - 1)]
        this.followSpeed(dt, kmh / 3.6, (ahead - kmh) / 3.6 / (2 * stepS))
        return
      }
    }
  }

  /** Brakes to a standstill; then in gear with the foot on the brake (automatic), or in neutral. */
  private stand(inGear: boolean): void {
    const { engine } = this
    if (engine.speedMs > 0.1) {
      this.wantedGear = this.manual ? (engine.speedMs > 4 ? this.gear : 0) : 1
      this.brakeN = this.p['driver.brake_m_s2'] * this.p['vehicle.mass_kg']
    } else {
      this.wantedGear = inGear && !this.manual ? 1 : 0
      this.brakeN = 4000
    }
  }

  private startUp(dt: number): void {
    const { engine } = this
    const c = engine.controls
    c.ignition = true
    this.wantedGear = 0
    this.brakeN = 4000
    if (this.phase === 0) {
      // Key on: the sensor warms, the pedal is pumped.
      const stroke = Math.floor(this.phaseS / 0.9)
      if (stroke >= this.pumpsLeft) {
        this.press(0, 120)
        if (this.phaseS > this.pumpsLeft * 0.9 + 1.2) this.enter(1)
      } else this.press(this.phaseS - stroke * 0.9 < 0.45 ? 45 : 0, 150)
      return
    }
    if (this.phase === 1) {
      c.starter = true
      this.crankS += dt
      this.press(this.tries > 0 ? 14 : engine.coolantC > 45 ? 6 : 0, 40)
      if (engine.fired && engine.rpm > 480) {
        c.starter = false
        this.enter(3)
      } else if (this.phaseS > 10) {
        c.starter = false
        this.tries++
        this.enter(2)
      }
      return
    }
    if (this.phase === 2) {
      this.press(0, 100)
      if (this.phaseS > 3) {
        if (this.tries >= 4) this.next()
        else this.enter(1)
      }
      return
    }
    this.press(0, 60)
    if (engine.rpm < 100) {
      this.tries++
      this.enter(2)
    } else if (this.phaseS > 1.5) this.next()
  }

  private restart(dt: number): void {
    const { engine } = this
    const c = engine.controls
    this.wantedGear = 0
    this.brakeN = this.p['driver.brake_m_s2'] * this.p['vehicle.mass_kg']
    this.crankS += dt
    this.press(engine.coolantC > 45 ? 6 : 0, 60)
    c.ignition = true
    c.starter = this.phaseS > 0.4 && this.gear === 0
    if (engine.fired && engine.rpm > 480) {
      c.starter = false
      this.press(0, 60)
    }
    // What was begun is begun again once it runs.
    if (!c.starter && engine.rpm > 480) this.enter(0)
    if (engine.rpm < 60 && this.phaseS > 12) {
      this.phaseS = -3
      this.tries++
      if (this.tries > mostTries) this.done = true
    }
  }

  private topGear(): number {
    return this.gears
  }

  /** Gear for a speed and pedal, with a band so that it does not hunt. */
  private gearFor(speedMs: number, pedalPct: number): number {
    const wide = Math.min(1, pedalPct / 85)
    const up = (0.4 + 0.5 * wide * wide) * this.redlineRpm
    const down = (0.24 + 0.24 * wide * wide) * this.redlineRpm
    let gear = this.gear > 0 ? this.gear : 1
    if (this.gear === 0) {
      while (gear < this.topGear() && speedMs * this.rpmPerMs[gear] > up) gear++
      return gear
    }
    if (
      gear < this.topGear() &&
      speedMs * this.rpmPerMs[gear] > up &&
      speedMs * this.rpmPerMs[gear + 1] > down * 0.95
    )
      gear++
    else if (
      gear > 1 &&
      speedMs * this.rpmPerMs[gear] < down &&
      speedMs * this.rpmPerMs[gear - 1] < 0.85 * this.redlineRpm
    )
      gear--
    return gear
  }

  private holdingPct(speedMs: number): number {
    const gear = this.gear > 0 ? this.gear : this.topGear()
    const grade = this.engine.controls.gradePct + this.p['vehicle.grade_pct']
    const point = roadPoint(this.engine.base, this.k.leakMm2, this.k.primaryMostGS, speedMs, gear, 1, grade)
    return point ? Math.max(point.throttlePct, 0) : 85
  }

  private cruise(
    dt: number,
    speedMs: number,
    holdS: number,
    pedalPct: number,
    ratePctS: number,
    gear?: number,
  ): void {
    const { engine } = this
    const error = speedMs - engine.speedMs
    if (this.phase === 0) {
      this.easedFrom = pedalPct
      this.lastError = error
      if (error < -3) this.enter(2)
      else if (error < 1.5) {
        this.enter(3)
        this.settle(speedMs)
      } else {
        this.press(pedalPct, ratePctS)
        this.enter(1)
      }
    }
    this.wantedGear = gear ?? this.gearFor(engine.speedMs, this.foot)
    this.brakeN = 0
    if (this.inStepS > holdS + longestWayS) {
      // Too steep or too fast for this car: it holds what it reached.
      this.next()
      return
    }
    if (this.phase === 1) {
      const nearing = Math.max(0.6, 0.5 + pedalPct / 50)
      if (error < nearing || this.phaseS > 90) {
        this.enter(3)
        this.settle(speedMs)
      } else if (
        this.phaseS > 12 &&
        error > 3 &&
        this.footGoal < 90 &&
        engine.speedMs * 3.6 < 0.8 * speedMs * 3.6
      ) {
        // A hill: give more, slowly.
        this.press(Math.min(this.footGoal + 4 * dt, 95), ratePctS)
      }
      return
    }
    if (this.phase === 2) {
      this.press(0, 90)
      if (error < -5) this.brakeN = 0.5 * this.p['driver.brake_m_s2'] * this.p['vehicle.mass_kg']
      if (error > -1) {
        this.enter(3)
        this.settle(speedMs)
      }
      return
    }
    this.correct(dt, error)
    if (Math.abs(error) > 4 && this.phaseS > 12) this.enter(0)
    else if (this.phaseS >= holdS) this.next()
  }

  private settle(speedMs: number): void {
    this.press(this.holdingPct(speedMs), Math.max(easeRate, this.easedFrom * 0.8))
    this.sinceFootS = -1
  }

  /** Now and then moves the foot by a little: proportional and integral action in steps, with a dead band. */
  private correct(dt: number, error: number): void {
    this.sinceFootS += dt
    if (this.sinceFootS < this.footPeriodS) return
    this.sinceFootS = 0
    const change = 5 * (error - this.lastError) + 0.9 * error
    this.lastError = error
    if (Math.abs(change) < 0.6) return
    this.press(Math.min(Math.max(this.footGoal + change, 0), 100), easeRate)
  }

  private followSpeed(dt: number, speedMs: number, accelerationMs2: number): void {
    const { engine, p } = this
    const error = speedMs - engine.speedMs
    if (speedMs < 0.3 && accelerationMs2 <= 0.05) {
      this.press(0, 90)
      this.stand(true)
      return
    }
    this.wantedGear = this.gearFor(engine.speedMs, this.foot)
    this.sinceFootS += dt
    if (this.sinceFootS < 0.4) return
    this.sinceFootS = 0
    const push = accelerationMs2 + 0.45 * error
    if (push < -0.5) {
      this.press(0, 120)
      this.brakeN = Math.max(0, -push - 0.4) * p['vehicle.mass_kg']
      return
    }
    this.brakeN = 0
    const grade = engine.controls.gradePct
    engine.controls.gradePct = grade + (push / 9.81) * 100
    const pct = this.holdingPct(Math.max(engine.speedMs, 3))
    engine.controls.gradePct = grade
    if (Math.abs(pct - this.footGoal) > 1.2) this.press(Math.min(pct, 95), 45)
  }

  private tipIn(step: Extract<DriveStep, { do: 'tip_in' }>): void {
    const { engine } = this
    if (this.phase === 0) {
      this.easedFrom = this.footGoal
      const to = step.to_pct ?? this.foot + (step.by_pct ?? 20)
      this.press(Math.min(to, 100), step.rate_pct_s)
      this.wantedGear = engine.speedMs > 2 ? this.gear : 0
      this.enter(1)
    }
    this.wantedGear = engine.speedMs > 2 ? this.gear : 0
    if (this.phase === 1 && this.foot >= this.footGoal - 0.05) this.enter(2)
    const tooFast = engine.rpm > 0.62 * this.redlineRpm && engine.speedMs < 2
    const atRed = engine.rpm > 0.97 * this.redlineRpm
    if (this.phase === 2 && (this.phaseS >= step.hold_s || tooFast || atRed)) {
      this.press(this.easedFrom, 160)
      this.enter(3)
    }
    if (this.phase === 3 && (Math.abs(this.foot - this.footGoal) < 0.1 || this.phaseS > 2)) this.next()
  }

  private pull(dt: number, step: Extract<DriveStep, { do: 'pull' }>): void {
    const { engine, p } = this
    const gear = Math.min(step.gear, this.topGear())
    const startMs = (engine.speedMs * step.from_rpm) / Math.max(engine.speedMs * this.rpmPerMs[gear], 1)
    if (this.phase === 0) {
      // Come to the starting speed, above or below.
      const wanted = engine.speedMs > 1 ? startMs : 8
      const error = wanted - engine.speedMs
      this.wantedGear = this.gearFor(engine.speedMs, 40)
      this.brakeN = error < -2 ? 0.4 * p['driver.brake_m_s2'] * p['vehicle.mass_kg'] : 0
      if (this.inStepS > longestWayS) this.next()
      else if (error > 0.6) this.press(34, 30)
      else if (error < -0.6) this.press(0, 100)
      else this.enter(1)
      return
    }
    this.brakeN = 0
    this.wantedGear = gear
    if (this.phase === 1) {
      if (this.gear === gear && this.shift === 0) {
        this.correct(dt, startMs - engine.speedMs)
        if (this.phaseS > 1.5) {
          this.press(100, 220)
          this.enter(2)
        }
      } else this.press(18, 40)
      return
    }
    if (engine.rpm >= Math.min(step.to_rpm, 0.97 * this.redlineRpm) || this.phaseS > 40) {
      this.press(0, liftRate)
      this.next()
    }
  }

  private moveFoot(dt: number): void {
    const goal = this.shift === 1 || this.shift === 2 ? 0 : this.footGoal
    const rate = this.shift === 1 || this.shift === 2 ? liftRate : this.footRate
    const most = rate * dt
    const d = goal - this.foot
    this.foot += d > most ? most : Math.max(d, -most)
  }

  /** Clutch, gear lever and brake; hands the controls to the engine. */
  private work(dt: number): void {
    const { engine } = this
    const c = engine.controls
    if (this.manual) this.manualBox(dt)
    else this.automaticBox(dt)
    const sigma = this.trembleSize
    if (sigma > 0) {
      this.tremble += (-this.tremble / 0.4) * dt + sigma * Math.sqrt((2 * dt) / 0.4) * this.random.normal()
    }
    const pct = this.foot > 1 ? this.foot + this.tremble : this.foot
    c.footPct = pct < 0 ? 0 : Math.min(pct, 100)
    c.brakeN = this.brakeN
    c.clutch = this.clutch
    c.gear = this.gear
  }

  private automaticBox(dt: number): void {
    this.shiftS += dt
    if (this.wantedGear === this.gear) return
    if (this.wantedGear === 0 || this.gear === 0) {
      // Into or out of neutral only near standstill or when nothing else is wanted.
      if (this.engine.speedMs < 3 || this.gear === 0) this.gear = this.wantedGear
      return
    }
    if (this.shiftS > 1) {
      this.gear += this.wantedGear > this.gear ? 1 : -1
      this.shiftS = 0
    }
  }

  private manualBox(dt: number): void {
    const { engine, idleRpm } = this
    if (this.shift === 0 && this.wantedGear !== this.gear) {
      this.nextGear = this.wantedGear
      this.shift = 1
      this.shiftS = 0
    }
    this.shiftS += dt
    if (this.shift === 1) {
      this.clutch = Math.max(0, this.clutch - dt / 0.12)
      if (this.clutch === 0 && this.foot < 3) {
        this.shift = 2
        this.shiftS = 0
      }
    } else if (this.shift === 2) {
      if (this.shiftS > 0.25) {
        this.gear = this.nextGear
        this.shift = this.gear === 0 ? 0 : 3
        this.shiftS = 0
      }
    } else if (this.shift === 3) {
      const shaft = engine.speedMs * this.rpmPerMs[this.gear]
      if (shaft < 1.25 * idleRpm) {
        // Moving off: as much clutch as the engine can carry.
        const bite = (engine.rpm - 0.95 * idleRpm) / (1.1 * idleRpm)
        this.clutch += Math.max(-dt / 0.2, Math.min(dt / 0.9, Math.min(Math.max(bite, 0), 0.6) - this.clutch))
      } else {
        this.clutch = Math.min(1, this.clutch + dt / 0.35)
        if (this.clutch >= 1) this.shift = 0
      }
    } else if (this.gear > 0 && engine.rpm < 0.85 * idleRpm) {
      // The pedal goes down before it stalls.
      this.clutch = Math.max(0, this.clutch - dt / 0.1)
      this.shift = 3
    } else if (this.gear === 0) this.clutch = 1
  }
}
