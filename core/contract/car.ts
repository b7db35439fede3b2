import * as z from 'zod'

const targetSchema = z.object({
  /** Wanted λ. */
  lambda: z.number().min(0.5).max(1.5),
  /** Allowed distance to the rich side, a positive number. */
  rich: z.number().min(0.005).max(0.3),
  /** Allowed distance to the lean side, a positive number. */
  lean: z.number().min(0.005).max(0.3),
})

/** Targets per operating state; what is not named keeps its default (`defaultTargets`). `analyse --target FILE` reads this. */
export const targetsSchema = z
  .object({
    idle: targetSchema,
    cruise: targetSchema,
    part_throttle: targetSchema,
    power: targetSchema,
    warm_up: targetSchema,
  })
  .partial()
export type Target = z.infer<typeof targetSchema>
export type Targets = z.infer<typeof targetsSchema>

export { defaultTargets } from './defaultTargets.ts'

export const airSchema = z.object({
  temperature_C: z.number().min(-60).max(70),
  /** Station pressure, not the weather report's sea-level figure. */
  pressure_kPa: z.number().min(40).max(120),
  humidity_pct: z.number().min(0).max(100).default(0),
  source: z.string().max(60).optional(),
})
export type Air = z.infer<typeof airSchema>

/** Reference air when the car's profile names none: 20 °C, 100 kPa, dry. */
export const defaultReferenceAir: Readonly<Air> = Object.freeze({
  temperature_C: 20,
  pressure_kPa: 100,
  humidity_pct: 0,
})

/**
 * One part: a bore, or turns of a screw, or an opening vacuum, or a volume; a metering rod has diameters per step. A bore may also be noted as `bore`
 * (`73 thou`, `0.073 in`, `#49`), `drill`, `bore_in` or `bore_thou`, a rod's step as `cruise_in`, `power_thou` and so on (`sizedPart`).
 */
export const partSchema = z.looseObject({
  label: z.string().min(1).max(40),
  bore_mm: z.number().positive().max(60).optional(),
  /** Flow figure of a flow-rated jet, any unit as long as one box keeps to it. */
  flow: z.number().positive().optional(),
  turns: z.number().min(0).max(20).optional(),
  opens_inHg: z.number().min(0).max(25).optional(),
  volume_ml: z.number().min(0).max(20).optional(),
  /** Metering rod: diameter at the cruise and at the power step. */
  cruise_mm: z.number().min(0).max(20).optional(),
  power_mm: z.number().min(0).max(20).optional(),
  /** How many of this part work side by side (two primaries). Ratios do not need it. */
  count: z.number().int().min(1).max(12).optional(),
})
export type Part = z.infer<typeof partSchema>

/** What is fitted, by part name (`main_jet`, `secondary_jet`, `power_restriction`, `power_valve`, `idle_screws`, `squirter`, …). */
export const fittedSchema = z.record(z.string().regex(/^[a-z0-9_]{1,40}$/), partSchema)
export type Fitted = z.infer<typeof fittedSchema>

/** The owner's parts box: what could be fitted instead. */
export const boxSchema = z.record(z.string().regex(/^[a-z0-9_]{1,40}$/), z.array(partSchema).max(200))
export type Box = z.infer<typeof boxSchema>

/** The file of `advise --box FILE`: `fitted` optional there (each run carries its own). */
export const partsFileSchema = z.looseObject({ fitted: fittedSchema.optional(), box: boxSchema.optional() })
export type PartsFile = z.infer<typeof partsFileSchema>

export const circuitNames = ['choke', 'idle', 'transfer', 'main', 'power', 'secondary', 'pump'] as const
export type Circuit = (typeof circuitNames)[number]

/** Everything known of one car. Nothing is compulsory but an id: a result says what a missing entry would have given. */
export const carSchema = z.looseObject({
  id: z.string().regex(/^[a-z0-9][a-z0-9_-]{0,39}$/),
  name: z.string().max(80).optional(),
  description: z.string().max(200).optional(),
  engine: z
    .looseObject({
      displacement_l: z.number().positive().max(20).optional(),
      cylinders: z.number().int().min(1).max(16).optional(),
      /** Warm idle speed as the owner knows it; learned when absent. */
      idle_rpm: z.number().positive().max(3000).optional(),
      thermostat_C: z.number().min(40).max(120).optional(),
    })
    .optional(),
  metering: z.enum(['carburettor', 'throttle_body_injection']).optional(),
  barrels: z.number().int().min(1).max(8).optional(),
  /** Circuits this car has; default follows from the parts fitted. */
  circuits: z.array(z.enum(circuitNames)).optional(),
  sensor: z
    .looseObject({
      /** `planar49`, `planar42`, or a table of the owner's. */
      curve: z
        .union([z.string().max(40), z.looseObject({ points: z.array(z.tuple([z.number(), z.number()])) })])
        .optional(),
      /** Bank each sensor sits in, in words shown on screen. */
      bank_names: z.array(z.string().max(20)).max(2).optional(),
      /** Readings in free air, oldest first; the newest of each bank goes into every run. */
      free_air: z
        .array(
          z.looseObject({
            at: z.string().max(40),
            bank: z.number().int().min(1).max(2),
            current_mA: z.number().positive().max(50),
          }),
        )
        .max(200)
        .optional(),
    })
    .optional(),
  fuel: z
    .looseObject({
      id: z.string().max(40).optional(),
      ethanol_pct: z.number().min(0).max(100).optional(),
    })
    .optional(),
  targets: targetsSchema.optional(),
  home_air: airSchema.optional(),
  /** Transport delay learned on earlier runs: delay = a + b / (rpm × kPa). */
  delay: z
    .object({
      a_s: z.number().min(0).max(2),
      b_s_rpm_kPa: z.number().min(0).max(200_000),
      events_used: z.number().min(0).optional(),
    })
    .optional(),
  /** How much throttle the car needs for a load against a middling one, learned on earlier runs without a pressure sensor. */
  throttle_need: z
    .object({ factor: z.number().min(0.3).max(3), stretches: z.number().int().min(0).optional() })
    .optional(),
  mass_kg: z.number().positive().max(20_000).optional(),
  gearing: z
    .looseObject({
      final_drive: z.number().positive().max(10).optional(),
      gears: z.array(z.number().positive().max(10)).max(10).optional(),
      tyre_circumference_m: z.number().positive().max(5).optional(),
    })
    .optional(),
  road_load: z
    .looseObject({
      drag_area_m2: z.number().positive().max(5).optional(),
      rolling_coefficient: z.number().positive().max(0.1).optional(),
    })
    .optional(),
  /** Senders on the board's plain inputs: `{input_1: {channel: 'oil_pressure', transfer: …}}`. */
  inputs: z.record(z.string(), z.unknown()).optional(),
  /** Alarm limits; what is not named keeps its default. */
  limits: z.record(z.string(), z.number()).optional(),
  /** Operating-state limits; what is not named keeps its default. */
  state_limits: z.record(z.string(), z.number()).optional(),
  /** Screen units per quantity, e.g. `{mixture: 'afr', pressure: 'inHg_vacuum', temperature: 'F'}`. */
  units: z.record(z.string(), z.string()).optional(),
})
export type CarProfile = z.infer<typeof carSchema>

/** True of a car whose mixture is numbers that are typed in, not parts. */
export const isInjection = (car: CarProfile | undefined) => car?.metering === 'throttle_body_injection'
