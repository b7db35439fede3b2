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

/** Limits of the profile over the defaults. */
export function alarmLimits(own: Readonly<Record<string, number>> | undefined): AlarmLimits {
  const limits: Record<string, number> = { ...defaultAlarmLimits }
  for (const [name, value] of Object.entries(own ?? {})) {
    if (Object.hasOwn(limits, name)) limits[name] = value
  }
  return limits as unknown as AlarmLimits
}
