import type { Calibration } from './calibration.ts'
import { DriverSeat } from './driverSeat.ts'
import type { DriveStep } from './driveSteps.ts'
import type { Engine } from './engine.ts'
import { EngineStarter } from './engineStarter.ts'
import type { ParameterValues } from './parameters.ts'
import type { Random } from './random.ts'
import { longestWayS, SpeedKeeper } from './speedKeeper.ts'

/** A drive that is over: nothing more for ten hours. */
const endOfDrive: DriveStep = { do: 'wait', s: 36_000 }

/**
 * The person at the wheel: works through a drive's steps, with a foot that moves at finite rates, corrects a few times a second at
 * most and trembles a little, shifts gears, slips the clutch, brakes, and starts a stalled engine again.
 */
export class Driver {
  /** True after the last step. */
  done = false
  /** Called as a step with a `mark` begins. */
  onMark: (label: string) => void = () => {}

  private readonly seat: DriverSeat
  private readonly starter: EngineStarter
  private readonly keeper: SpeedKeeper
  private readonly steps: readonly DriveStep[]
  private readonly redlineRpm: number
  private index = -1
  /** Before the first step: nothing, for no time. */
  private step: DriveStep = { do: 'wait', s: 0 }
  private openedFrom = 0

  constructor(
    engine: Engine,
    p: ParameterValues,
    calibration: Calibration,
    steps: readonly DriveStep[],
    random: Random,
  ) {
    this.seat = new DriverSeat(engine, p, calibration, random)
    this.starter = new EngineStarter(this.seat)
    this.keeper = new SpeedKeeper(this.seat)
    this.steps = steps
    this.redlineRpm = p['engine.redline_rpm']
  }

  private next(): void {
    const { seat } = this
    this.index++
    seat.beginStep()
    if (this.index >= this.steps.length) {
      this.done = true
      this.step = endOfDrive
      return
    }
    this.step = this.steps[this.index]
    if (this.step.grade_pct !== undefined) seat.engine.controls.gradePct = this.step.grade_pct
    if (this.step.mark !== undefined) this.onMark(this.step.mark)
    if (this.step.do === 'start') this.starter.prepare(this.step.pumps)
  }

  /** One small step of time; sets the engine's controls. */
  act(dt: number): void {
    const { seat, step } = this
    const { rpm, controls } = seat.engine
    seat.inStepS += dt
    seat.phaseS += dt
    const isStalled = rpm < 50 && controls.ignition && !controls.starter
    const mayStall = step.do === 'wait' || step.do === 'off' || step.do === 'start'
    if ((isStalled && !mayStall) || (controls.starter && step.do !== 'start')) {
      this.starter.restart()
      if (this.starter.hasGivenUp) this.done = true
    } else if (this.follow(dt, step)) this.next()
    seat.work(dt)
  }

  /** Does what the step says; true when it is over. */
  private follow(dt: number, step: DriveStep): boolean {
    const { seat, keeper } = this
    const { engine, foot, lever } = seat
    const isOver = (s: number) => seat.inStepS >= s
    switch (step.do) {
      case 'wait':
        seat.lift()
        return isOver(step.s)
      case 'off':
        engine.controls.ignition = false
        lever.wanted = 0
        seat.lift()
        return isOver(step.s)
      case 'start':
        return this.starter.start()
      case 'idle':
        seat.lift()
        seat.stand(dt, step.in_gear === true)
        if (engine.speedMs > 0.1) seat.inStepS = 0
        return isOver(step.s)
      case 'stop':
        foot.press(0, 80)
        seat.stand(dt, true)
        if (engine.speedMs > 0.1) {
          seat.inStepS = 0
          return false
        }
        return isOver(step.s)
      case 'cruise':
        return keeper.cruise(
          dt,
          step.kmh / 3.6,
          step.s,
          step.pedal_pct ?? 35,
          step.rate_pct_s ?? 28,
          step.gear,
        )
      case 'tip_in':
        return this.tipIn(step)
      case 'pull':
        return this.pull(dt, step)
      case 'overrun':
        seat.lift()
        lever.wanted = lever.gear > 0 ? lever.gear : lever.gearFor(engine.speedMs, 20)
        return isOver(step.s) || engine.speedMs < (step.to_kmh ?? 15) / 3.6
      case 'throttle':
        foot.press(step.pct, step.rate_pct_s ?? 60)
        if (engine.speedMs > 2) lever.wanted = lever.gearFor(engine.speedMs, step.pct)
        return isOver(step.s)
      case 'trace': {
        const stepS = step.step_s ?? 1
        const at = seat.inStepS / stepS
        const i = Math.floor(at)
        if (i + 1 >= step.kmh.length) return true
        const kmh = step.kmh[i] + (step.kmh[i + 1] - step.kmh[i]) * (at - i)
        const ahead = step.kmh[Math.min(i + 2, step.kmh.length - 1)]
        keeper.follow(dt, kmh / 3.6, (ahead - kmh) / 3.6 / (2 * stepS))
        return false
      }
    }
  }

  private tipIn(step: Extract<DriveStep, { do: 'tip_in' }>): boolean {
    const { seat } = this
    const { engine, foot, lever } = seat
    if (seat.phase === 0) {
      this.openedFrom = foot.goal
      const to = step.to_pct ?? foot.pct + (step.by_pct ?? 20)
      foot.press(Math.min(to, 100), step.rate_pct_s)
      seat.enter(1)
    }
    lever.wanted = engine.speedMs > 2 ? lever.gear : 0
    if (seat.phase === 1 && foot.pct >= foot.goal - 0.05) seat.enter(2)
    const tooFast = engine.rpm > 0.62 * this.redlineRpm && engine.speedMs < 2
    const atRed = engine.rpm > 0.97 * this.redlineRpm
    if (seat.phase === 2 && (seat.phaseS >= step.hold_s || tooFast || atRed)) {
      foot.press(this.openedFrom, 160)
      seat.enter(3)
    }
    return seat.phase === 3 && (Math.abs(foot.pct - foot.goal) < 0.1 || seat.phaseS > 2)
  }

  private pull(dt: number, step: Extract<DriveStep, { do: 'pull' }>): boolean {
    const { seat } = this
    const { engine, foot, lever } = seat
    const gear = Math.min(step.gear, lever.top)
    const startMs = (engine.speedMs * step.from_rpm) / Math.max(engine.speedMs * lever.rpmPerMs[gear], 1)
    if (seat.phase === 0) {
      // Come to the starting speed, above or below.
      const wanted = engine.speedMs > 1 ? startMs : 8
      const error = wanted - engine.speedMs
      lever.wanted = lever.gearFor(engine.speedMs, 40)
      seat.brake(error < -2 ? 0.4 : 0)
      if (seat.inStepS > longestWayS) return true
      if (error > 0.6) foot.press(34, 30)
      else if (error < -0.6) foot.press(0, 100)
      else seat.enter(1)
      return false
    }
    seat.brakeN = 0
    lever.wanted = gear
    if (seat.phase === 1) {
      if (lever.gear === gear && !lever.isShifting) {
        this.keeper.correct(dt, startMs - engine.speedMs)
        if (seat.phaseS > 1.5) {
          foot.press(100, 220)
          seat.enter(2)
        }
      } else foot.press(18, 40)
      return false
    }
    if (!(engine.rpm >= Math.min(step.to_rpm, 0.97 * this.redlineRpm) || seat.phaseS > 40)) return false
    seat.lift()
    return true
  }
}
