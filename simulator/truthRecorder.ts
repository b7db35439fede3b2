import type { Fitted } from '../core/contract/car.ts'
import { operatingStates } from '../core/contract/result.ts'
import type { Engine } from './engine.ts'
import { type ParameterKey, parameterTable } from './parameters.ts'
import { airOf, type ResolvedRun } from './runOptions.ts'
import { SelfIdleWatch } from './selfIdleWatch.ts'
import { classifyState, settleStates, splitAtRest, warmIdleRpm } from './trueStates.ts'
import { findSteady, steadyMixtures } from './trueSteady.ts'
import { judgeTransients } from './trueTransients.ts'
import type { Truth, TruthEvent } from './truth.ts'

/** A column that grows by doubling. */
class Growing {
  private values = new Float32Array(1 << 14)
  private count = 0

  push(value: number): void {
    if (this.count === this.values.length) {
      const next = new Float32Array(this.values.length * 2)
      next.set(this.values)
      this.values = next
    }
    this.values[this.count++] = value
  }

  done(): Float32Array {
    return this.values.subarray(0, this.count)
  }
}

/** Keeps what the sensor cannot see while a run is made, and judges it afterwards. */
export class TruthRecorder {
  private readonly run: ResolvedRun
  private readonly banks: number
  private time = new Float64Array(1 << 14)
  private count = 0
  private readonly lambda = new Growing()
  private readonly still = new Growing()
  private readonly settled = new Growing()
  private readonly transport = new Growing()
  private readonly total = new Growing()
  private readonly rpm = new Growing()
  private readonly throttle = new Growing()
  private readonly manifold = new Growing()
  private readonly coolant = new Growing()
  private readonly speed = new Growing()
  private readonly power = new Growing()
  private readonly secondary = new Growing()
  private readonly gear = new Growing()
  private readonly rawState = new Growing()
  private readonly events: TruthEvent[] = []
  private readonly selfIdle = new SelfIdleWatch()
  private before = -1
  private wasFired = false
  private everFired = false
  private wasCranking = false
  private chokeWasClosed = false
  private lastRpm = 0

  constructor(run: ResolvedRun, banks: number) {
    this.run = run
    this.banks = banks
  }

  private note(kind: TruthEvent['kind'], timeS: number, engine: Engine): void {
    this.events.push({ kind, startS: timeS, coolantC: engine.coolantC })
  }

  /** Called each inner step: what happens between samples. */
  step(timeS: number, engine: Engine): void {
    const { starter, ignition } = engine.controls
    if (starter && !this.wasCranking) this.note('crank_start', timeS, engine)
    this.wasCranking = starter
    if (engine.fired && !this.wasFired) {
      this.note('first_fire', timeS, engine)
      this.everFired = true
    }
    this.wasFired = engine.fired
    if (this.lastRpm >= 50 && engine.rpm < 50 && this.everFired && ignition && !starter) {
      this.note('stall', timeS, engine)
    }
    this.lastRpm = engine.rpm
    const closed = engine.chokeClosed > 0
    if (this.chokeWasClosed && !closed) this.note('choke_open', timeS, engine)
    this.chokeWasClosed = closed
  }

  /** Called with each sample. */
  sample(timeS: number, engine: Engine, wander: number, transportS: number, totalS: number): void {
    if (this.count === this.time.length) {
      const next = new Float64Array(this.time.length * 2)
      next.set(this.time)
      this.time = next
    }
    this.time[this.count++] = timeS
    this.lambda.push(engine.lambda / (1 + wander))
    this.still.push(engine.lambda)
    this.settled.push(engine.settledLambda)
    this.transport.push(transportS)
    this.total.push(totalS)
    this.rpm.push(engine.rpm)
    this.throttle.push(engine.throttlePct)
    this.manifold.push(engine.manifoldPa / 1000)
    this.coolant.push(engine.coolantC)
    this.speed.push(engine.speedMs)
    this.power.push(engine.wheelPowerW / 1000)
    this.secondary.push(engine.secondaryOpen)
    this.gear.push(engine.gear)
    this.before = classifyState(this.run.p, engine, this.before)
    this.rawState.push(this.before)
    if (this.selfIdle.push(timeS, engine)) this.note('self_idle', timeS, engine)
  }

  /** Judges the whole run. */
  finish(car: string, right: Fitted, engine: Engine): Truth {
    const { p, fitted, drive, seed, rateHz, setup, changes } = this.run
    const timeS = this.time.subarray(0, this.count)
    const lambdaStill = this.still.done()
    const lambdaSettled = this.settled.done()
    const throttlePct = this.throttle.done()
    const rpm = this.rpm.done()
    const coolantC = this.coolant.done()
    const manifoldKpa = this.manifold.done()
    const gear = this.gear.done()
    const rawState = this.rawState.done()
    const idleColumns = { rpm, throttlePct, coolantC, gear }
    const warmIdle = warmIdleRpm(idleColumns, rateHz)
    if (warmIdle > 0) splitAtRest(rawState, idleColumns, warmIdle)
    const state = settleStates(rawState, rateHz)
    const transients = judgeTransients({
      timeS,
      state,
      lambda: lambdaStill,
      settled: lambdaSettled,
      throttlePct,
      rpm,
      secondary: this.secondary.done(),
      gear,
      coolantC,
    })
    const steadyNow = findSteady(throttlePct, state, rateHz)
    const lambda = [this.lambda.done()]
    if (this.banks > 1) lambda.push(lambda[0].map((value) => value * (1 + p['sensor.bank_spread'])))
    const parameters: Record<string, number> = {}
    for (const [key, value] of Object.entries(changes)) {
      if (value !== parameterTable[key as ParameterKey].value) parameters[key] = value
    }
    return {
      car,
      setup,
      drive: drive.name,
      seed,
      seconds: this.count > 0 ? timeS[this.count - 1] : 0,
      fitted,
      right,
      air: airOf(p),
      rateHz,
      timeS,
      lambda,
      lambdaStill,
      lambdaSettled,
      state,
      states: operatingStates,
      transportDelayS: this.transport.done(),
      totalDelayS: this.total.done(),
      rpm,
      throttlePct,
      manifoldKpa,
      coolantC,
      roadSpeedMs: this.speed.done(),
      wheelPowerKw: this.power.done(),
      steadyNow,
      events: [...this.events, ...transients].sort((a, b) => a.startS - b.startS),
      steady: lambda.map((column) =>
        steadyMixtures({
          lambda: column,
          still: lambdaStill,
          state,
          steadyNow,
          rpm,
          manifoldKpa,
          ambientKpa: p['air.pressure_kPa'],
          periodS: 1 / rateHz,
        }),
      ),
      sensorGain: this.banks > 1 ? [p['sensor.gain'], p['sensor.gain_2']] : [p['sensor.gain']],
      distanceM: engine.distanceM,
      fuelG: engine.fuelG,
      parameters,
    }
  }
}
