import type { DriverSeat } from './driverSeat.ts'

/** Longest time to come to a wanted speed, s. */
export const longestWayS = 75
/** Rate at which a foot corrects, %/s. */
const easeRate = 24

/** Comes to a speed and holds it, with a foot that corrects a few times a second at most. */
export class SpeedKeeper {
  private readonly seat: DriverSeat
  private readonly footPeriodS: number
  private sinceFootS = 0
  private lastError = 0
  private easedFrom = 0

  constructor(seat: DriverSeat) {
    this.seat = seat
    this.footPeriodS = seat.p['driver.foot_period_s']
  }

  /** One step towards and at a steady speed; true when it was held for `holdS`, or cannot be reached. */
  cruise(
    dt: number,
    speedMs: number,
    holdS: number,
    pedalPct: number,
    ratePctS: number,
    gear?: number,
  ): boolean {
    const { seat } = this
    const { engine, foot, lever } = seat
    const error = speedMs - engine.speedMs
    if (seat.phase === 0) {
      this.easedFrom = pedalPct
      this.lastError = error
      if (error < -3) seat.enter(2)
      else if (error < 1.5) {
        seat.enter(3)
        this.settle(speedMs)
      } else {
        foot.press(pedalPct, ratePctS)
        seat.enter(1)
      }
    }
    lever.wanted = gear ?? lever.gearFor(engine.speedMs, foot.pct)
    seat.brakeN = 0
    // Too steep or too fast for this car: it holds what it reached.
    if (seat.inStepS > holdS + longestWayS) return true
    if (seat.phase === 1) {
      this.approach(dt, error, speedMs, pedalPct, ratePctS)
      return false
    }
    if (seat.phase === 2) {
      foot.press(0, 90)
      if (error < -5) seat.brake(0.5)
      if (error > -1) {
        seat.enter(3)
        this.settle(speedMs)
      }
      return false
    }
    this.correct(dt, error)
    if (Math.abs(error) > 4 && seat.phaseS > 12) {
      seat.enter(0)
      return false
    }
    return seat.phaseS >= holdS
  }

  private approach(dt: number, error: number, speedMs: number, pedalPct: number, ratePctS: number): void {
    const { seat } = this
    const { engine, foot } = seat
    const nearing = Math.max(0.6, 0.5 + pedalPct / 50)
    if (error < nearing || seat.phaseS > 90) {
      seat.enter(3)
      this.settle(speedMs)
    } else if (
      seat.phaseS > 12 &&
      error > 3 &&
      foot.goal < 90 &&
      engine.speedMs * 3.6 < 0.8 * speedMs * 3.6
    ) {
      // A hill: give more, slowly.
      foot.press(Math.min(foot.goal + 4 * dt, 95), ratePctS)
    }
  }

  private settle(speedMs: number): void {
    this.seat.foot.press(this.seat.holdingPct(speedMs), Math.max(easeRate, this.easedFrom * 0.8))
    this.sinceFootS = -1
  }

  /** Now and then moves the foot by a little: proportional and integral action in steps, with a dead band. */
  correct(dt: number, error: number): void {
    const { foot } = this.seat
    this.sinceFootS += dt
    if (this.sinceFootS < this.footPeriodS) return
    this.sinceFootS = 0
    const change = 5 * (error - this.lastError) + 0.9 * error
    this.lastError = error
    if (Math.abs(change) < 0.6) return
    foot.press(Math.min(Math.max(foot.goal + change, 0), 100), easeRate)
  }

  /** One step behind a speed that changes, `accelerationMs2` being what comes. */
  follow(dt: number, speedMs: number, accelerationMs2: number): void {
    const { seat } = this
    const { engine, foot, lever } = seat
    const error = speedMs - engine.speedMs
    if (speedMs < 0.3 && accelerationMs2 <= 0.05) {
      foot.press(0, 90)
      seat.stand(dt, true)
      return
    }
    lever.wanted = lever.gearFor(engine.speedMs, foot.pct)
    this.sinceFootS += dt
    if (this.sinceFootS < 0.4) return
    this.sinceFootS = 0
    const push = accelerationMs2 + 0.45 * error
    if (push < -0.5) {
      foot.press(0, 120)
      seat.brakeN = Math.max(0, -push - 0.4) * seat.p['vehicle.mass_kg']
      return
    }
    seat.brakeN = 0
    const grade = engine.controls.gradePct
    engine.controls.gradePct = grade + (push / 9.81) * 100
    const pct = seat.holdingPct(Math.max(engine.speedMs, 3))
    engine.controls.gradePct = grade
    if (Math.abs(pct - foot.goal) > 1.2) foot.press(Math.min(pct, 95), 45)
  }
}
