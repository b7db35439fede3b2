import { type AlarmCode, alarmKinds } from '../contract/alarmKinds.ts'
import type { LiveAlarm } from '../contract/live.ts'
import type { AlarmEntry, AlarmPriority } from '../contract/result.ts'
import type { AlarmLimits } from './alarmLimits.ts'
import { type AlarmTimer, createAlarmTimer } from './alarmTimer.ts'
import { CalmMean } from './calmMean.ts'
import { stateCode } from './operatingState.ts'
import type { TargetFinder } from './targetLambda.ts'

/** Lean under load when the owner set no limit: so far over the target of the power state. */
const LEAN_OVER_TARGET = 0.06
/** A mixture caution rests so long after it ended, s, twice as long after the next: at most about one in ten minutes of normal driving is wanted. */
const CAUTION_REST_S = 600
/** A reading under the limit does not begin the on-delay of lean under load anew while λ smoothed over so long, s, is over it: it is noise. Chosen here. */
const LEAN_SMOOTH_S = 0.05
/** All but lean under load are looked at this often, s: their delays are a second and more. */
const SLOW_STEP_S = 0.045
/** Times of the means that cautions are told of, shorter in power, where lean is dear, s. Chosen here. */
const POWER_MEAN = { overS: 3, sureS: 0.75 }
const CRUISE_MEAN = { overS: 15, sureS: 3.75 }

/** What the alarms look at in each row; reused. NaN = missing. */
export interface AlarmInput {
  timeS: number
  state: number
  /** True when the gas at the sensor was burnt in this state. */
  isSettled: boolean
  /** False while the throttle moves or λ still answers its move: a pump shot is no wrong jet, so no caution is told of it. Lean under load is told all the same. */
  isCalm: boolean
  /** False while so little air flows that the idle circuit still feeds, whatever the state is called: no caution of cruise is told of it. */
  isOnMain: boolean
  /** Newest trusted λ of the leaner bank; NaN when none of them may be believed. */
  lambda: number
  hasNewLambda: boolean
  /** False while the choke may still feed: rich under load is then no jet's affair. */
  isWarm: boolean
  /** From here on what changes slowly: looked at only when `isSlowDue`. */
  isSensorFault: boolean
  rpm: number
  exhaustC: number
  coolantC: number
  /** Absolute pressures. */
  oilKpa: number
  fuelKpa: number
  barometerKpa: number
  supplyV: number
}

export interface Alarms {
  step(input: AlarmInput): void
  /** True when the step at this time looks at the slow part of its input: at other times that need not be filled in. */
  isSlowDue(timeS: number): boolean
  /** Tells the time without a sample. */
  advance(timeS: number): void
  active(): LiveAlarm[]
  finish(timeS: number): void
}

const priorityRank: Readonly<Record<AlarmPriority, number>> = { warning: 0, caution: 1, advisory: 2 }

/**
 * All alarms of a run, sample by sample. No mixture alarm while λ is not trusted, in overrun, or before the gas of the state has reached the sensor.
 */
export function createAlarms(
  limits: AlarmLimits,
  targets: TargetFinder,
  onEnd: (entry: AlarmEntry) => void,
): Alarms {
  const { power, cruise } = targets.targets
  const leanLimit = Number.isFinite(limits.lean_under_load)
    ? limits.lean_under_load
    : power.lambda + LEAN_OVER_TARGET
  const dead = limits.lambda_deadband
  // Fields of an object, so that no number is boxed at each sample.
  const seen = { lastS: Number.NaN, silentFromS: Number.NaN }

  const all: AlarmTimer[] = []
  const add = (code: AlarmCode, restS = 0): AlarmTimer => {
    const alarm = createAlarmTimer({
      code,
      restS,
      onEnd: (ended) =>
        onEnd({
          code: ended.code,
          priority: ended.priority,
          start_s: ended.startS,
          end_s: ended.endS,
          worst: Number.isFinite(ended.worst) ? ended.worst : null,
        }),
    })
    all.push(alarm)
    return alarm
  }
  const leanUnderLoad = add('lean_under_load')
  const exhaustHot = add('exhaust_hot')
  const oilLow = add('oil_pressure_low')
  const coolantHot = add('coolant_hot')
  const leanInPower = add('lean_in_power', CAUTION_REST_S)
  const richInPower = add('rich_in_power', CAUTION_REST_S)
  const leanInCruise = add('lean_in_cruise', CAUTION_REST_S)
  const richInCruise = add('rich_in_cruise', CAUTION_REST_S)
  const sensorFault = add('sensor_fault')
  const supplyLow = add('supply_low')
  const supplyHigh = add('supply_high')
  const fuelLow = add('fuel_pressure_low')
  const fuelHigh = add('fuel_pressure_high')

  // An alarm that is neither bad nor waiting has nothing to note: most of them, in most rows.
  const over = (
    alarm: AlarmTimer,
    timeS: number,
    value: number,
    limit: number,
    gap: number,
    isActive = true,
  ): void => {
    const isBad = isActive && value > limit
    if (isBad || alarm.isWaiting()) alarm.step(timeS, isBad, !isActive || !(value >= limit - gap), value)
  }
  const under = (
    alarm: AlarmTimer,
    timeS: number,
    value: number,
    limit: number,
    gap: number,
    isActive = true,
  ): void => {
    const isBad = isActive && value < limit
    if (isBad || alarm.isWaiting()) alarm.step(timeS, isBad, !isActive || !(value <= limit + gap), value)
  }

  /** When slow alarms were last looked at and λ last came: fields of an object, so that no number is boxed at each sample. */
  const slow = { lambdaS: Number.NaN, nextS: Number.NEGATIVE_INFINITY }
  const ofPower = new CalmMean(POWER_MEAN)
  const ofCruise = new CalmMean(CRUISE_MEAN)
  /** A reading came since the gas of this state is at the sensor: one that is only held from before says nothing of it. */
  let isOfThisState = false
  const lean = { lambda: Number.NaN }

  function takeLambda({ timeS, state, lambda, hasNewLambda, isSettled, isCalm, isOnMain }: AlarmInput): void {
    if (!isSettled || Number.isNaN(lambda)) isOfThisState = false
    else if (hasNewLambda) isOfThisState = true
    if (!hasNewLambda) return
    const stepS = timeS - slow.lambdaS
    slow.lambdaS = timeS
    smoothLean(lambda, stepS)
    if (!isOfThisState || !isCalm || !(stepS > 0 && stepS < 1)) return
    if (state === stateCode.power) ofPower.add(lambda, stepS)
    else if (state === stateCode.cruise && isOnMain) ofCruise.add(lambda, stepS)
  }

  function smoothLean(lambda: number, stepS: number): void {
    // Bounded, so that the end of an overrun does not linger.
    const near = Math.max(leanLimit - dead, Math.min(leanLimit + dead, lambda))
    if (!isOfThisState) lean.lambda = Number.NaN
    else if (Number.isNaN(lean.lambda) || !(stepS > 0)) lean.lambda = near
    else lean.lambda += (stepS / (stepS + LEAN_SMOOTH_S)) * (near - lean.lambda)
  }

  function stepLean({ timeS, lambda }: AlarmInput, isLoaded: boolean): void {
    const isWaiting = leanUnderLoad.isWaiting()
    if (!isLoaded && !isWaiting) return
    const isBad = isLoaded && (lambda > leanLimit || (isWaiting && lean.lambda > leanLimit))
    if (isBad || isWaiting)
      leanUnderLoad.step(timeS, isBad, !isLoaded || !(lambda >= leanLimit - dead), lambda)
  }

  const isSlowDue = (timeS: number) => !(timeS < slow.nextS)

  function stepSlow(input: AlarmInput): void {
    const { timeS, state, rpm, barometerKpa, supplyV } = input
    const inPower = isOfThisState && input.isCalm && state === stateCode.power
    const inCruise = isOfThisState && input.isCalm && input.isOnMain && state === stateCode.cruise
    // The warning says it already; the caution would only count twice.
    over(leanInPower, timeS, ofPower.leanest, ofPower.leanOver(power), dead, inPower && !leanUnderLoad.isOn)
    under(richInPower, timeS, ofPower.richest, ofPower.richUnder(power), dead, inPower && input.isWarm)
    over(leanInCruise, timeS, ofCruise.leanest, ofCruise.leanOver(cruise), dead, inCruise)
    under(richInCruise, timeS, ofCruise.richest, ofCruise.richUnder(cruise), dead, inCruise)
    over(coolantHot, timeS, input.coolantC, limits.coolant_C, 2)
    under(oilLow, timeS, input.oilKpa - barometerKpa, limits.oil_kPa, 10, rpm > limits.oil_from_rpm)
    under(fuelLow, timeS, input.fuelKpa - barometerKpa, limits.fuel_low_kPa, 2, rpm > 400)
    over(fuelHigh, timeS, input.fuelKpa - barometerKpa, limits.fuel_high_kPa, 2)
    under(supplyLow, timeS, supplyV, limits.supply_low_V, 0.3, rpm > 400)
    over(supplyHigh, timeS, supplyV, limits.supply_high_V, 0.3)
    over(exhaustHot, timeS, input.exhaustC, limits.exhaust_C, 15)
    sensorFault.step(timeS, input.isSensorFault, !input.isSensorFault, Number.NaN)
  }

  return {
    step(input) {
      const { timeS } = input
      if (timeS - seen.lastS > limits.silence_s) endSilence(timeS)
      seen.lastS = timeS
      seen.silentFromS = Number.NaN
      takeLambda(input)
      stepLean(input, isOfThisState && input.state === stateCode.power)
      if (!isSlowDue(timeS)) return
      slow.nextS = timeS + SLOW_STEP_S
      stepSlow(input)
    },
    isSlowDue,
    advance(timeS) {
      if (timeS - seen.lastS >= limits.silence_s) seen.silentFromS = seen.lastS
      if (Number.isNaN(seen.silentFromS)) return
      for (const alarm of all) alarm.stop(seen.lastS)
    },
    active() {
      const list: LiveAlarm[] = []
      if (!Number.isNaN(seen.silentFromS)) {
        list.push({
          code: 'no_samples',
          priority: alarmKinds.no_samples.priority,
          startS: seen.silentFromS,
          endS: Number.NaN,
          worst: Number.NaN,
        })
      }
      for (const { isOn, code, priority, startS, endS, worst } of all) {
        if (isOn) list.push({ code, priority, startS, endS, worst })
      }
      return list.sort((a, b) => priorityRank[a.priority] - priorityRank[b.priority])
    },
    finish(timeS) {
      for (const alarm of all) alarm.stop(timeS)
    },
  }

  function endSilence(timeS: number): void {
    onEnd({
      code: 'no_samples',
      priority: alarmKinds.no_samples.priority,
      start_s: seen.lastS,
      end_s: timeS,
      worst: timeS - seen.lastS,
    })
    for (const alarm of all) alarm.stop(seen.lastS)
  }
}
