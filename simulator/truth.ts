import type { Air, Fitted } from '../core/contract/car.ts'
import type { OperatingState, TransientPattern } from '../core/contract/result.ts'

/** A thing that truly happened. Times in s; what does not apply is absent. */
export interface TruthEvent {
  kind: 'tip_in' | 'tip_out' | 'stall' | 'first_fire' | 'choke_open' | 'self_idle' | 'crank_start'
  startS: number
  /** tip-in and tip-out: end of the throttle's move, size and fastest rate. */
  endS?: number
  fromPct?: number
  toPct?: number
  ratePctS?: number
  /** So near to the limits (40 %/s, 8 %) that a judge may see it either way. */
  borderline?: boolean
  fromState?: OperatingState
  toState?: OperatingState
  rpm?: number
  /** Highest and lowest λ in the cylinders within 2 s, and when. */
  leanPeak?: number
  leanPeakAfterS?: number
  richPeak?: number
  richPeakAfterS?: number
  /** By the table of the trade, against the target of the state arrived at, and against the λ where it settles. */
  pattern?: TransientPattern
  patternSettled?: TransientPattern
  /** The pattern stays the same with its limits moved by 0.01 λ either way. */
  patternSure?: boolean
  settledLambda?: number
  secondariesOpened?: boolean
  stumble?: boolean
  coolantC?: number
}

/** The steady mixture of a state as it truly was in a run. */
export interface TruthSteady {
  seconds: number
  /** Mean and median of the cylinders' λ with wander, and mean without. */
  mean: number
  median: number
  meanStill: number
  rpm: number
  load: number
}

/** What the sensor cannot see. Columns have one entry for each sample, lost ones included. */
export interface Truth {
  car: string
  setup: string
  drive: string
  seed: number
  seconds: number
  fitted: Fitted
  right: Fitted
  air: Air
  rateHz: number
  timeS: Float64Array
  /** λ in the cylinders of each bank, with wander and without cycle scatter. */
  lambda: Float32Array[]
  /** The first bank's without wander. */
  lambdaStill: Float32Array
  /** λ when film and pump have settled. */
  lambdaSettled: Float32Array
  /** Index into `states`. */
  state: Uint8Array
  states: readonly OperatingState[]
  /** Time since the gas now at the end of the plug was drawn in; that plus mixing and the sensor's mean lag, s. */
  transportDelayS: Float32Array
  totalDelayS: Float32Array
  rpm: Float32Array
  throttlePct: Float32Array
  manifoldKpa: Float32Array
  coolantC: Float32Array
  roadSpeedMs: Float32Array
  wheelPowerKw: Float32Array
  /** 1 while the throttle moved less than 3 % in the last second and no transient runs. */
  steadyNow: Uint8Array
  events: TruthEvent[]
  /** By state, first bank then second. */
  steady: Partial<Record<OperatingState, TruthSteady>>[]
  sensorGain: number[]
  distanceM: number
  fuelG: number
  /** Parameters that differ from their defaults. */
  parameters: Record<string, number>
}
