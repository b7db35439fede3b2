import * as z from 'zod'
import { carSchema, targetsSchema } from '../../core/contract/car.ts'
import { type AlarmLimits, defaultAlarmLimits } from '../../core/engine/alarmLimits.ts'
import { defaultStateLimits } from '../../core/engine/stateLimits.ts'

/** Least and most that each alarm limit can sensibly be: beyond these it is a slip of the keys, and would silence its alarm. */
const alarmRanges: Readonly<Record<keyof AlarmLimits, readonly [number, number]>> = {
  lean_under_load: [0.7, 1.3],
  lambda_deadband: [0, 0.2],
  exhaust_C: [200, 1300],
  coolant_C: [60, 150],
  oil_kPa: [0, 1000],
  oil_from_rpm: [0, 10_000],
  fuel_low_kPa: [0, 2000],
  fuel_high_kPa: [0, 2000],
  supply_low_V: [4, 60],
  supply_high_V: [4, 60],
  silence_s: [0.2, 60],
}
/** No state limit is larger, in its own unit. */
const MOST_STATE_LIMIT = 20_000

/** Numbers by these names alone, each within its range. */
const limitsSchema = <T extends object>(known: T, rangeOf: (name: keyof T) => readonly [number, number]) =>
  z.record(z.string(), z.number()).superRefine((limits, context) => {
    for (const [name, value] of Object.entries(limits)) {
      const path = [name]
      if (!Object.hasOwn(known, name)) {
        const message = `unknown; there are ${Object.keys(known).join(', ')}`
        context.addIssue({ code: 'custom', path, message })
        continue
      }
      const [least, most] = rangeOf(name as keyof T)
      if (value >= least && value <= most) continue
      context.addIssue({ code: 'custom', path, message: `expected ${least} to ${most}, found ${value}` })
    }
  })

/**
 * A profile as somebody writes it now, checked more closely than one that is read back: a name that means nothing, or a limit that no engine has,
 * would else be taken in silence, and the alarm it was meant for never sound.
 */
export const writtenCarSchema = carSchema.extend({
  targets: targetsSchema.strict().optional(),
  limits: limitsSchema(defaultAlarmLimits, (name) => alarmRanges[name]).optional(),
  state_limits: limitsSchema(defaultStateLimits, () => [0, MOST_STATE_LIMIT]).optional(),
})
