import type { AlarmPriority, CoverageItem, OperatingState, UntrustedReason } from './result.ts'

/** The mixture of one bank at this moment. */
export interface BankReading {
  bank: 1 | 2
  /** Newest trusted λ, NaN when it may not be believed. */
  lambda: number
  /** Standard uncertainty of `lambda`, NaN with it. */
  lambdaUncertainty: number
  /** Why there is no λ; undefined when there is one. */
  untrusted?: UntrustedReason | 'no_sensor' | 'out_of_range'
  /** Fault code of the board, e.g. `heater_open`, with `untrusted: 'fault'`. */
  faultCode?: string
  /** Sensor warming progress 0…100, NaN when unknown. */
  warmingPct: number
  /** Least and most trusted λ of the last ten seconds. */
  least10s: number
  most10s: number
}

export interface LiveAlarm {
  code: string
  priority: AlarmPriority
  startS: number
  /** Since when it no longer holds, while it waits for its end; NaN while it lasts. */
  endS: number
  worst: number
  bank?: 1 | 2
}

/** What the Drive page shows: made by `pipeline.live()`, all values in inside units, NaN = not known. */
export interface LiveReading {
  timeS: number
  state: OperatingState
  banks: BankReading[]
  /** Target of the state now, NaN when the state has none. */
  targetLambda: number
  bandRich: number
  bandLean: number
  stoichiometricRatio: number
  engineSpeedRpm: number
  throttlePct: number
  manifoldKpa: number
  barometerKpa: number
  load: number
  coolantC: number
  intakeAirC: number
  exhaustC: number
  supplyV: number
  roadSpeedMs: number
  oilKpa: number
  fuelKpa: number
  coverage: CoverageItem[]
  /** True while the present moment counts toward coverage; else why not, in ≤ 4 words. */
  steady: boolean
  steadyWhyNot: string
  /** Alarms that are active now, highest priority first. */
  alarms: LiveAlarm[]
  /** Alarms that ended since the last call, for the log. */
  warmUp?: { sinceStartS: number; stalls: number; selfIdles: boolean; chokeOpenPct?: number }
}
