import type { Target } from '../contract/car.ts'
import type { LiveAlarm } from '../contract/live.ts'
import type { AlarmEntry, AlarmPriority } from '../contract/result.ts'
import { type AlarmTimer, createAlarmTimer } from './alarmTimer.ts'
import { stateCode } from './operatingState.ts'
import type { TargetFinder } from './targetLambda.ts'

/** Limits of the alarms; the car's profile (`limits`) may set each by its name. */
export interface AlarmLimits {
  /** λ in the power state over which it is lean under load; NaN: the target of power + 0.06. */
  readonly lean_under_load: number
  readonly lambda_deadband: number
  readonly exhaust_C: number
  readonly coolant_C: number
  /** Oil pressure below this with the engine over `oil_from_rpm`, kPa over the air outside. */
  readonly oil_kPa: number
  readonly oil_from_rpm: number
  /** Fuel pressure limits, kPa over the air outside; NaN switches them off, since carburettors and injection differ. */
  readonly fuel_low_kPa: number
  readonly fuel_high_kPa: number
  readonly supply_low_V: number
  readonly supply_high_V: number
  /** Silence that counts as no samples, s. */
  readonly silence_s: number
}

/** Common practice, no source; the first after the screen rules of the project. */
export const defaultAlarmLimits: Readonly<AlarmLimits> = Object.freeze({
  lean_under_load: Number.NaN,
  lambda_deadband: 0.02,
  exhaust_C: 900,
  coolant_C: 108,
  oil_kPa: 70,
  oil_from_rpm: 1200,
  fuel_low_kPa: Number.NaN,
  fuel_high_kPa: Number.NaN,
  supply_low_V: 11.3,
  supply_high_V: 15.6,
  silence_s: 2,
})

/** Lean under load when the owner set no limit: so far over the target of the power state. */
const LEAN_OVER_TARGET = 0.06
/** A mixture caution rests so long after it ended, s, twice as long after the next: at most about one in ten minutes of normal driving is wanted. */
const CAUTION_REST_S = 600
/**
 * A caution waits until the mixture is surely out of its band: by the doubt of a reading, λ (common practice, no source). Of a mean over less calm
 * time than makes it sure the doubt is the more, by the square of what is missing: what is far out is told sooner. Chosen here.
 */
const CAUTION_DOUBT = 0.01
/** All but lean under load are looked at this often, s: their delays are a second and more. */
const SLOW_STEP_S = 0.045
/**
 * A caution is told of a state's mixture, not of a place in its map, which is never flat: of λ's mean over so much calm time in the state, s, whatever
 * came between, once there was enough of it. Shorter in power, where lean is dear. It is sure after so much calm time, s, and nothing after less
 * than the least. Chosen here.
 */
const POWER_MEAN_S = 3
const POWER_SURE_S = 0.75
const CRUISE_MEAN_S = 15
const CRUISE_SURE_S = 3.75
const LEAST_CALM_S = 2
/** It ends, and is not raised, when λ's mean over so short a time is back in the band: the owner has done something, or the road has. Chosen here, s. */
const NEWEST_MEAN_S = 0.5

/** λ of one state over its calm moments. */
interface StateMean {
  lambda: number
  /** The same over the last moments only. */
  newest: number
  seconds: number
  readonly overS: number
  readonly sureS: number
}

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

const delays: Readonly<Record<AlarmPriority, { on: number; off: number }>> = {
  warning: { on: 0.3, off: 1 },
  caution: { on: 1, off: 2 },
  advisory: { on: 3, off: 5 },
}
const priorityRank: Readonly<Record<AlarmPriority, number>> = { warning: 0, caution: 1, advisory: 2 }

/** Limits of the profile over the defaults. */
export function alarmLimits(own: Readonly<Record<string, number>> | undefined): AlarmLimits {
  const limits: Record<string, number> = { ...defaultAlarmLimits }
  for (const [name, value] of Object.entries(own ?? {})) {
    if (Object.hasOwn(limits, name)) limits[name] = value
  }
  return limits as unknown as AlarmLimits
}

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
  const add = (code: string, priority: AlarmPriority, isLowBad = false, restS = 0): AlarmTimer => {
    const alarm = createAlarmTimer({
      code,
      priority,
      onDelayS: delays[priority].on,
      offDelayS: delays[priority].off,
      isLowBad,
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
  const leanUnderLoad = add('lean_under_load', 'warning')
  const exhaustHot = add('exhaust_hot', 'warning')
  const oilLow = add('oil_pressure_low', 'warning', true)
  const coolantHot = add('coolant_hot', 'warning')
  const leanInPower = add('lean_in_power', 'caution', false, CAUTION_REST_S)
  const richInPower = add('rich_in_power', 'caution', true, CAUTION_REST_S)
  const leanInCruise = add('lean_in_cruise', 'caution', false, CAUTION_REST_S)
  const richInCruise = add('rich_in_cruise', 'caution', true, CAUTION_REST_S)
  const sensorFault = add('sensor_fault', 'caution')
  const supplyLow = add('supply_low', 'caution', true)
  const supplyHigh = add('supply_high', 'caution')
  const fuelLow = add('fuel_pressure_low', 'caution', true)
  const fuelHigh = add('fuel_pressure_high', 'caution')

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
  const meanOver = (overS: number, sureS: number): StateMean => ({
    lambda: Number.NaN,
    newest: Number.NaN,
    seconds: 0,
    overS,
    sureS,
  })
  const ofPower = meanOver(POWER_MEAN_S, POWER_SURE_S)
  const ofCruise = meanOver(CRUISE_MEAN_S, CRUISE_SURE_S)
  /** A reading came since the gas of this state is at the sensor: one that is only held from before says nothing of it. */
  let isOfThisState = false

  function takeLambda({ timeS, state, lambda, hasNewLambda, isSettled, isCalm, isOnMain }: AlarmInput): void {
    if (!isSettled || Number.isNaN(lambda)) isOfThisState = false
    else if (hasNewLambda) isOfThisState = true
    if (!hasNewLambda) return
    const stepS = timeS - slow.lambdaS
    slow.lambdaS = timeS
    if (!isOfThisState || !isCalm || !(stepS > 0 && stepS < 1)) return
    if (state === stateCode.power) addTo(ofPower, lambda, stepS)
    else if (state === stateCode.cruise && isOnMain) addTo(ofCruise, lambda, stepS)
  }

  function addTo(mean: StateMean, lambda: number, stepS: number): void {
    mean.seconds += stepS
    const share = Math.min(1, stepS / Math.min(mean.overS, mean.seconds))
    mean.lambda = Number.isNaN(mean.lambda) ? lambda : mean.lambda + share * (lambda - mean.lambda)
    const newestShare = Math.min(1, stepS / NEWEST_MEAN_S)
    mean.newest = Number.isNaN(mean.newest) ? lambda : mean.newest + newestShare * (lambda - mean.newest)
  }

  const known = (mean: StateMean) => mean.seconds >= Math.min(LEAST_CALM_S, mean.sureS)
  const doubt = (mean: StateMean) => CAUTION_DOUBT * Math.max(1, mean.sureS / mean.seconds) ** 2
  /** What a caution of too lean a state is told of: the lesser of the two means, so that it ends as λ is back; of too rich a one the greater. */
  const leanest = (mean: StateMean) => (known(mean) ? Math.min(mean.lambda, mean.newest) : Number.NaN)
  const richest = (mean: StateMean) => (known(mean) ? Math.max(mean.lambda, mean.newest) : Number.NaN)

  const isSlowDue = (timeS: number) => !(timeS < slow.nextS)

  function stepSlow(input: AlarmInput): void {
    const { timeS, state, rpm, barometerKpa, supplyV } = input
    const inPower = isOfThisState && input.isCalm && state === stateCode.power
    const inCruise = isOfThisState && input.isCalm && input.isOnMain && state === stateCode.cruise
    const leanOver = (target: Target, mean: StateMean) => target.lambda + target.lean + doubt(mean)
    const richUnder = (target: Target, mean: StateMean) => target.lambda - target.rich - doubt(mean)
    // The warning says it already; the caution would only count twice.
    over(leanInPower, timeS, leanest(ofPower), leanOver(power, ofPower), dead, inPower && !leanUnderLoad.isOn)
    under(richInPower, timeS, richest(ofPower), richUnder(power, ofPower), dead, inPower)
    over(leanInCruise, timeS, leanest(ofCruise), leanOver(cruise, ofCruise), dead, inCruise)
    under(richInCruise, timeS, richest(ofCruise), richUnder(cruise, ofCruise), dead, inCruise)
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
      const isLoaded = isOfThisState && input.state === stateCode.power
      if (isLoaded || leanUnderLoad.isWaiting())
        over(leanUnderLoad, timeS, input.lambda, leanLimit, dead, isLoaded)
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
          priority: 'caution',
          startS: seen.silentFromS,
          endS: Number.NaN,
          worst: Number.NaN,
        })
      }
      for (const { isOn, code, priority, startS, worst } of all) {
        if (isOn) list.push({ code, priority, startS, endS: Number.NaN, worst })
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
      priority: 'caution',
      start_s: seen.lastS,
      end_s: timeS,
      worst: timeS - seen.lastS,
    })
    for (const alarm of all) alarm.stop(seen.lastS)
  }
}
