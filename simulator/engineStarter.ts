import { type DriverSeat, standingBrakeN } from './driverSeat.ts'

/** After so many vain attempts to start a stalled engine, the drive is over; and so many at its beginning. */
const mostTries = 8
const mostFirstTries = 4
/** The starter is let go above this speed, rpm. */
const letGoRpm = 480
/** Coolant above which the engine starts as a warm one, °C. */
const warmC = 45
/** One stroke of the pedal before starting, s. */
const pumpStrokeS = 0.9

/** Starts the engine at the beginning of a drive, and again when it has stalled. */
export class EngineStarter {
  /** Nobody tries any longer. */
  hasGivenUp = false
  private readonly seat: DriverSeat
  private tries = 0
  private pumpsLeft = 0

  constructor(seat: DriverSeat) {
    this.seat = seat
  }

  /** Before the first turn: `pumps` strokes of the pedal, as many as the cold asks for if not told. */
  prepare(pumps: number | undefined): void {
    this.tries = 0
    this.pumpsLeft = pumps ?? (this.seat.engine.coolantC < warmC ? 2 : 1)
  }

  /** One step of the start; true when it is over. */
  start(): boolean {
    const { seat } = this
    const { engine, foot } = seat
    const c = engine.controls
    c.ignition = true
    seat.lever.wanted = 0
    seat.brakeN = standingBrakeN
    switch (seat.phase) {
      case 0: {
        // Key on: the sensor warms, the pedal is pumped.
        const stroke = Math.floor(seat.phaseS / pumpStrokeS)
        if (stroke >= this.pumpsLeft) {
          foot.press(0, 120)
          if (seat.phaseS > this.pumpsLeft * pumpStrokeS + 1.2) seat.enter(1)
        } else foot.press(seat.phaseS - stroke * pumpStrokeS < 0.45 ? 45 : 0, 150)
        return false
      }
      case 1:
        c.starter = true
        foot.press(this.tries > 0 ? 14 : engine.coolantC > warmC ? 6 : 0, 40)
        if (engine.fired && engine.rpm > letGoRpm) {
          c.starter = false
          seat.enter(3)
        } else if (seat.phaseS > 10) {
          c.starter = false
          this.tries++
          seat.enter(2)
        }
        return false
      case 2:
        foot.press(0, 100)
        if (seat.phaseS > 3) {
          if (this.tries >= mostFirstTries) return true
          seat.enter(1)
        }
        return false
      default:
        foot.press(0, 60)
        if (engine.rpm < 100) {
          this.tries++
          seat.enter(2)
        }
        return seat.phase === 3 && seat.phaseS > 1.5
    }
  }

  /** One step of starting again on the road. What was begun is begun again once it runs. */
  restart(): void {
    const { seat } = this
    const { engine, foot, lever } = seat
    const c = engine.controls
    lever.wanted = 0
    seat.brake(1)
    foot.press(engine.coolantC > warmC ? 6 : 0, 60)
    c.ignition = true
    c.starter = seat.phaseS > 0.4 && lever.gear === 0
    if (engine.fired && engine.rpm > letGoRpm) {
      c.starter = false
      foot.press(0, 60)
    }
    if (!c.starter && engine.rpm > letGoRpm) seat.enter(0)
    if (engine.rpm < 60 && seat.phaseS > 12) {
      seat.phaseS = -3
      this.tries++
      if (this.tries > mostTries) this.hasGivenUp = true
    }
  }
}
