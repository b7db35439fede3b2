import * as z from 'zod'

const seconds = z.number().min(0).max(36_000)
const percent = z.number().min(0).max(100)
const shared = {
  /** Slope of the road from this step on, %. */
  grade_pct: z.number().min(-20).max(20).optional(),
  /** A mark with this label stands in the capture as the step begins. */
  mark: z.string().max(200).optional(),
}

/** One step of a drive. A drive file is a JSON array of these, or an object with `steps`. */
export const driveStepSchema = z.discriminatedUnion('do', [
  /** Nothing changes for so long: key off, or as it is. */
  z.strictObject({ do: z.literal('wait'), s: seconds, ...shared }),
  /** Key on; pedal pumped so often; cranks until the engine runs, four tries of ten seconds. */
  z.strictObject({ do: z.literal('start'), pumps: z.number().int().min(0).max(10).optional(), ...shared }),
  /** At rest with the foot off, in neutral unless `in_gear` (automatic only). */
  z.strictObject({ do: z.literal('idle'), s: seconds, in_gear: z.boolean().optional(), ...shared }),
  /** Accelerate to a speed with at most this pedal, pressed this fast, then hold it for `s`. */
  z.strictObject({
    do: z.literal('cruise'),
    kmh: z.number().min(5).max(220),
    s: seconds,
    pedal_pct: percent.optional(),
    rate_pct_s: z.number().min(1).max(1000).optional(),
    gear: z.number().int().min(1).max(6).optional(),
    ...shared,
  }),
  /** From where the throttle is, open to `to_pct` (or by `by_pct`) at a rate, hold, and back. At rest: a free rev in neutral. */
  z.strictObject({
    do: z.literal('tip_in'),
    to_pct: percent.optional(),
    by_pct: percent.optional(),
    rate_pct_s: z.number().min(1).max(1000),
    hold_s: seconds,
    ...shared,
  }),
  /** Full throttle in one gear between two engine speeds. */
  z.strictObject({
    do: z.literal('pull'),
    gear: z.number().int().min(1).max(6),
    from_rpm: z.number().min(500).max(8000),
    to_rpm: z.number().min(800).max(9000),
    ...shared,
  }),
  /** Foot off in gear, for so long or down to a speed. */
  z.strictObject({
    do: z.literal('overrun'),
    s: seconds,
    to_kmh: z.number().min(0).max(220).optional(),
    ...shared,
  }),
  /** Brake to a standstill, then stand for `s`: automatic in gear, manual in neutral. */
  z.strictObject({ do: z.literal('stop'), s: seconds, ...shared }),
  /** Throttle at a fixed opening for so long, in gear if moving. */
  z.strictObject({
    do: z.literal('throttle'),
    pct: percent,
    rate_pct_s: z.number().min(1).max(1000).optional(),
    s: seconds,
    ...shared,
  }),
  /** Follow a list of speeds, one each `step_s` (default 1). */
  z.strictObject({
    do: z.literal('trace'),
    kmh: z.array(z.number().min(0).max(250)).min(2),
    step_s: z.number().min(0.1).max(10).optional(),
    ...shared,
  }),
  /** Key off, and wait. */
  z.strictObject({ do: z.literal('off'), s: seconds, ...shared }),
])
export type DriveStep = z.infer<typeof driveStepSchema>

export const driveFileSchema = z.union([
  z.array(driveStepSchema).min(1),
  z.strictObject({
    name: z.string().optional(),
    cold: z.boolean().optional(),
    steps: z.array(driveStepSchema).min(1),
  }),
])

/** A drive as the simulator runs it. */
export interface Drive {
  name: string
  /** Engine and sensor at the temperature of the air. */
  cold: boolean
  steps: readonly DriveStep[]
}

/**
 * Reads a drive file.
 * @throws RangeError naming the step and field that is wrong
 */
export function parseDrive(json: unknown, name = 'file'): Drive {
  const parsed = driveFileSchema.safeParse(json)
  if (!parsed.success) {
    const issue = parsed.error.issues[0]
    throw new RangeError(
      `drive ${name}: ${issue.path.join('.') || 'file'}: ${issue.message} (see the simulator's README for the steps)`,
    )
  }
  if (Array.isArray(parsed.data)) return { name, cold: false, steps: parsed.data }
  return { name: parsed.data.name ?? name, cold: parsed.data.cold ?? false, steps: parsed.data.steps }
}
