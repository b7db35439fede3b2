import type { AlarmEntry } from '../contract/result.ts'
import type { AlarmLimits } from '../engine/alarmLimits.ts'
import { type AlarmInput, type Alarms, createAlarms } from '../engine/alarms.ts'
import type { DelayLaw } from '../engine/delayLaw.ts'
import type { EngineTrack } from '../engine/engineTrack.ts'
import { type LambdaStage, trust } from '../engine/lambdaStage.ts'
import type { LearnedCar } from '../engine/learnedCar.ts'
import { stateCode } from '../engine/operatingState.ts'
import { flowFigure } from '../engine/pointHistory.ts'
import type { StateLimits } from '../engine/stateLimits.ts'
import type { TargetFinder } from '../engine/targetLambda.ts'
import { sureThrottlePct } from '../engine/throttleLoad.ts'
import { channelSlots as slot } from './channels.ts'
import type { Row } from './rowReader.ts'

export interface AlarmFeedOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly alarmLimits: AlarmLimits
  readonly bankCount: 1 | 2
  readonly hasPressure: () => boolean
  readonly learned: () => LearnedCar
  readonly law: () => DelayLaw
  readonly track: EngineTrack
  readonly stages: readonly [LambdaStage, LambdaStage]
  /** Newest trusted λ and its time, by bank. */
  readonly newestLambda: readonly [Float64Array, Float64Array]
  readonly isSteady: () => boolean
  readonly onAlarm: (entry: AlarmEntry) => void
}

/** Gives the alarms what they judge, row by row: the state, and the newest λ once the gas of that state is at the sensor. */
export interface AlarmFeed {
  readonly alarms: Alarms
  step(row: Row): void
}

/** Outside the power state a mixture is judged only after so long in the state, s: the wall film dries first. */
const CALM_S = 2

/** Load of a usual idle, and the multiple of idle's air flow from which the main nozzle rules; common practice, no source. */
const IDLE_LOAD = 0.33
const MAIN_OVER_IDLE = 2
/** Slower than this share of its warm idle an engine dies in gear: its manifold fills and its fire goes out, and neither is load. Chosen here. */
const DYING_SHARE = 0.6

export function createAlarmFeed(options: AlarmFeedOptions): AlarmFeed {
  const { limits, bankCount, track, stages, newestLambda } = options
  const alarms = createAlarms(options.alarmLimits, options.targets, options.onAlarm)
  const input: AlarmInput = {
    timeS: Number.NaN,
    state: stateCode.off,
    isSettled: false,
    isCalm: true,
    isOnMain: true,
    lambda: Number.NaN,
    hasNewLambda: false,
    isWarm: true,
    isSensorFault: false,
    rpm: Number.NaN,
    exhaustC: Number.NaN,
    coolantC: Number.NaN,
    oilKpa: Number.NaN,
    fuelKpa: Number.NaN,
    barometerKpa: Number.NaN,
    supplyV: Number.NaN,
  }
  const gas = {
    pointS: Number.NaN,
    delayS: Number.NaN,
    isOnMain: true,
    isSurelyLoaded: true,
    law: undefined as DelayLaw | undefined,
  }

  function readSlow({ value }: Row): void {
    const { barometerKpa } = track.point
    input.isSensorFault = stages[0].reason === trust.fault || stages[1].reason === trust.fault
    input.rpm = value[slot.engine_speed]
    const hot = value[slot.exhaust_temperature]
    const hot2 = value[slot.exhaust_temperature_2]
    input.exhaustC = hot2 > hot || Number.isNaN(hot) ? hot2 : hot
    input.coolantC = value[slot.coolant]
    input.isWarm = !(input.coolantC < limits.warm_C)
    input.oilKpa = value[slot.oil_pressure]
    input.fuelKpa = value[slot.fuel_pressure]
    input.barometerKpa = barometerKpa > 0 ? barometerKpa : options.learned().barometerKpa
    input.supplyV = value[slot.supply]
  }

  /** The delay and the circuit of the gas that belongs to the newest point: points come less often than rows. */
  function lookAtGas(): void {
    const { machine, point } = track
    const law = options.law()
    if (point.timeS === gas.pointS && law === gas.law) return
    const { warmIdleRpm, barometerKpa, throttleNeed } = options.learned()
    const flow = flowFigure(point.rpm, point.flowKpa)
    gas.pointS = point.timeS
    gas.law = law
    gas.delayS = law.aS + law.bSRpmKpa / flow
    gas.isSurelyLoaded =
      machine.candidate !== stateCode.power ||
      (!(point.rpm < DYING_SHARE * warmIdleRpm) &&
        (options.hasPressure() || point.throttlePct > sureThrottlePct(limits, point.rpm, throttleNeed)))
    gas.isOnMain = !(flow < MAIN_OVER_IDLE * IDLE_LOAD * warmIdleRpm * barometerKpa)
  }

  function step(row: Row): void {
    const { timeS } = row
    const { machine } = track
    lookAtGas()
    const one = newestLambda[0][0]
    const two = bankCount === 2 ? newestLambda[1][0] : Number.NaN
    const move = track.openMove()
    input.timeS = timeS
    input.state = machine.candidate
    // In the power state the leaner bank rules; elsewhere one reading does.
    input.lambda = Number.isNaN(one) || two > one ? two : one
    input.isSettled =
      gas.isSurelyLoaded &&
      timeS - machine.candidateSinceS > gas.delayS + (machine.candidate === stateCode.power ? 0 : CALM_S) &&
      (machine.candidate === stateCode.power || move === undefined)
    input.isCalm = move === undefined && options.isSteady()
    input.isOnMain = gas.isOnMain
    input.hasNewLambda = !Number.isNaN(stages[0].lambda) || !Number.isNaN(stages[1].lambda)
    if (alarms.isSlowDue(timeS)) readSlow(row)
    alarms.step(input)
  }

  return { alarms, step }
}
