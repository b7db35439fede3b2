import type { CarProfile, Fitted } from './car.ts'

export const operatingStates = [
  'off',
  'cranking',
  'warm_up',
  'idle',
  'cruise',
  'part_throttle',
  'power',
  'overrun',
  'tip_in',
  'tip_out',
] as const
/** `running` is told only by boards with neither throttle nor pressure. */
export type OperatingState = (typeof operatingStates)[number] | 'running'

/** States that have a steady mixture and a target. */
export const mixtureStates = ['idle', 'cruise', 'part_throttle', 'power', 'warm_up', 'running'] as const
export type MixtureState = (typeof mixtureStates)[number]

export type UntrustedReason = 'warming' | 'fault' | 'overrun' | 'delay_edge' | 'gap'

export interface StateSpan {
  state: OperatingState
  start_s: number
  end_s: number
}

export interface Mixture {
  bank: 1 | 2
  seconds: number
  lambda_median: number | null
  lambda_iqr: number | null
  /** 95 % interval of the state's true mean λ; null when too little was seen. */
  ci95: [number, number] | null
  target: number | null
  /** lambda_median − target: positive is lean. */
  error: number | null
  /** Share of the seconds inside the allowed band. */
  inside_share: number | null
  /** Separate visits to the state that the figures rest on. */
  visits?: number
  /** Of `seconds` in the power state, those on a cold engine, if any: a choke or warm-up enrichment still feeds it. */
  cold_s?: number
}

export interface MixtureMap {
  rpm_edges: number[]
  load_edges: number[]
  /** `manifold_pressure` (ratio to barometric), `throttle`, or `none`. */
  load_channel: string
  /** Rows by load, columns by rpm; null where nothing was seen. */
  lambda: (number | null)[][]
  seconds: number[][]
  error: (number | null)[][]
}

export interface WarmUp {
  crank_s: number | null
  stalls: number
  self_idle_s: number | null
  self_idle_coolant_C: number | null
  choke: 'early' | 'late' | 'fine' | 'unknown'
  lambda_by_coolant: [number, number, number][]
  [more: string]: unknown
}

export type TransientPattern =
  | 'lean_at_once'
  | 'lean_later'
  | 'rich'
  | 'lean_then_rich'
  | 'lean_at_secondary'
  | 'clean'

export interface Transient {
  kind: 'tip_in' | 'tip_out'
  start_s: number
  rate_pct_s: number | null
  from_state: OperatingState
  to_state: OperatingState
  rpm: number | null
  /** Highest λ over target after the opening, and when (delay taken out). */
  lean_peak: number | null
  lean_peak_after_s: number | null
  rich_peak: number | null
  rich_peak_after_s: number | null
  recovered_s: number | null
  stumble: boolean | null
  pattern: TransientPattern | null
  [more: string]: unknown
}

export type AlarmPriority = 'warning' | 'caution' | 'advisory'
export interface AlarmEntry {
  code: string
  priority: AlarmPriority
  start_s: number
  end_s: number | null
  worst: number | null
}

export interface Pull {
  start_s: number
  end_s: number
  rpm_from: number
  rpm_to: number
  peak_kW: number | null
  peak_at_rpm: number | null
  /** Name of the power correction applied, or null. */
  correction: string | null
  [more: string]: unknown
}

/** How well like pulls of a run repeat; powers at the wheels, corrected as the pulls are. */
export interface PullRepeat {
  pulls: number
  /** Mean of the peaks, their standard deviation, and half of the 95 % interval of the mean. */
  peak_kW: number
  scatter_kW: number
  half_band_kW: number
  /** Mean and standard deviation over engine speed, where at least two pulls tell. */
  band: { rpm: number; wheel_kW: number; scatter_kW: number }[]
}

export interface CoverageItem {
  item: string
  have: number
  want: number
  unit?: string
}

export interface Hint {
  code: string
  text: string
  evidence: unknown
  test?: string
}

/** What the run taught of the car; NaN never, null for what it did not tell. */
export interface RunLearned {
  throttle_rest_pct: number | null
  warm_idle_rpm: number
  warm_idle_from: 'learned' | 'profile' | 'assumed'
  barometer_kPa: number
  barometer_from: 'air_record' | 'engine_off' | 'full_throttle' | 'assumed'
  /** How much throttle the car needs for a load against a middling one, and the stretches of driving that tell it: boards without a pressure sensor only. */
  throttle_need?: number
  throttle_need_stretches?: number
}

/** What `analyse --json` prints for one run. Fields as in the contract; more may be added, none removed. */
export interface AnalysisResult {
  format: 'floatbowl-result 1'
  run: {
    file?: string
    start?: string
    /** IANA name of the time zone where it was driven: a start in UTC is told by its clock. */
    zone?: string
    seconds: number
    car?: string
    /** What metered the fuel, as the run itself noted it, whatever the profile says now. */
    metering?: CarProfile['metering']
    /** The fuel in the tank, likewise. */
    fuel?: CarProfile['fuel']
    title?: string
    fitted?: Fitted
    air?: unknown
    marks?: { t_s: number; label: string }[]
    notes?: { t_s: number; text: string }[]
    learned?: RunLearned
    [more: string]: unknown
  }
  channels_used: string[]
  missing: { channel: string; would_give: string }[]
  integrity: {
    lines: number
    samples: number
    bad_checksum: number
    missing_samples: number
    gaps: { start_s: number; end_s: number }[]
    torn_end: boolean
    [more: string]: unknown
  }
  trust: { untrusted_s: Record<UntrustedReason, number>; hints: Hint[] }
  delay: { a_s: number; b_s_rpm_kPa: number; events_used: number; [more: string]: unknown }
  states: StateSpan[]
  mixture: Partial<Record<MixtureState, Mixture>>
  mixture_2?: Partial<Record<MixtureState, Mixture>>
  map: MixtureMap
  map_2?: MixtureMap
  warm_up: WarmUp | null
  transients: Transient[]
  alarms: AlarmEntry[]
  pulls: Pull[]
  /** Absent with fewer than two like pulls. */
  pull_repeat?: PullRepeat
  coverage: CoverageItem[]
  scorecard: {
    on_target_share: number | null
    stumbles_per_100_tip_ins: number | null
    self_idle_s: number | null
    economy: number | null
    peak_kW: number | null
    spent: number | null
    [more: string]: unknown
  }
}

/**
 * Steady evidence behind the mixture figures: one entry per stretch of at most about a second of one visit to a state, laid at the
 * moment that caused it (delay taken out), trusted only. `compareRuns` and `advise` work from these.
 */
export interface SteadyPiece {
  bank: 1 | 2
  state: MixtureState
  /** Number of the visit to the state within the run, from 0. */
  visit: number
  timeS: number
  seconds: number
  /** Steady seconds of the visit that it stands for: its own, and those beside it that could not be read. */
  standsForS?: number
  /** Of its own seconds those that lie so near to a limit that another judge might not count them to the state. */
  doubtS?: number
  lambda: number
  rpm: number
  /** Load as the state machine used it (manifold ÷ barometric pressure, else throttle share), NaN without either. */
  load: number
  manifoldKpa: number
  throttlePct: number
  coolantC: number
  /** Measured barometer and intake air at that moment, where the board has them; NaN or absent without. */
  barometerKpa?: number
  intakeAirC?: number
  /** Road speed, m/s, where it is known. */
  roadSpeedMs?: number
}

/** A run as the comparing and advising functions take it. */
export interface RunAnalysis {
  result: AnalysisResult
  pieces: SteadyPiece[]
  /** Start of the run, milliseconds since 1970, NaN if unknown: orders runs. */
  startMs: number
  /** The car as the pipeline knew it (record or option): targets, home air, metering. */
  car?: CarProfile
}
