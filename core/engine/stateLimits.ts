/** Limits of the operating states. All may be given in the car's profile (`state_limits`) by these names. */
export interface StateLimits {
  /** Below this the engine is off, rpm. */
  readonly off_rpm: number
  /** Above this it has fired, rpm. */
  readonly fire_rpm: number
  /** Coolant below this is warm-up, °C. */
  readonly warm_C: number
  /** Throttle within this of its closed position is at rest, %. */
  readonly rest_pct: number
  /** Idle below, overrun above this multiple of the warm idle speed. */
  readonly idle_factor: number
  /** Load limits: cruise below the first, power above the second. */
  readonly cruise_load: number
  readonly power_load: number
  /** The same by throttle at 2500 rpm, %, when there is no pressure sensor; they rise with engine speed. */
  readonly cruise_throttle_pct: number
  readonly power_throttle_pct: number
  /** Half of the gap between entering and leaving, in the quantity's own unit. */
  readonly rest_gap_pct: number
  readonly factor_gap: number
  readonly load_gap: number
  readonly throttle_gap_pct: number
  readonly coolant_gap_C: number
  /** A state lasts at least this, s. */
  readonly least_s: number
  /** A steady moment: the throttle moved less than this over the last `steady_s`, %. */
  readonly steady_pct: number
  readonly steady_s: number
  /** A tip-in or tip-out: faster than this, %/s, and larger than that, %. */
  readonly tip_rate_pct_s: number
  readonly tip_size_pct: number
  /** The same by manifold pressure, kPa/s and kPa. */
  readonly tip_rate_kPa_s: number
  readonly tip_size_kPa: number
  /** It ends when λ is within this of where it settles, at most so long after, s. */
  readonly settle_lambda: number
  readonly tip_most_s: number
}

/** Definitions of the trade, common practice without a source; gaps and throttle limits chosen here. */
export const defaultStateLimits: Readonly<StateLimits> = Object.freeze({
  off_rpm: 50,
  fire_rpm: 400,
  warm_C: 60,
  rest_pct: 1.5,
  idle_factor: 1.4,
  cruise_load: 0.6,
  power_load: 0.85,
  cruise_throttle_pct: 25,
  power_throttle_pct: 43,
  rest_gap_pct: 0.2,
  factor_gap: 0.02,
  load_gap: 0.008,
  throttle_gap_pct: 1,
  coolant_gap_C: 0.3,
  least_s: 0.5,
  steady_pct: 3,
  steady_s: 1,
  tip_rate_pct_s: 40,
  tip_size_pct: 8,
  tip_rate_kPa_s: 80,
  tip_size_kPa: 12,
  settle_lambda: 0.03,
  tip_most_s: 3,
})

/** The defaults with a car's own limits over them; names that are not known are passed over. */
export function stateLimits(own: Readonly<Record<string, number>> | undefined): StateLimits {
  const limits: Record<string, number> = { ...defaultStateLimits }
  for (const [name, value] of Object.entries(own ?? {})) {
    if (Object.hasOwn(limits, name) && Number.isFinite(value)) limits[name] = value
  }
  return limits as unknown as StateLimits
}
