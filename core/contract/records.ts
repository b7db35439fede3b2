import * as z from 'zod'
import { airSchema, carSchema, fittedSchema } from './car.ts'

/** JSON records of a capture file (kind `=`). Unknown types are kept and passed over. */
export const captureRecordSchema = z.discriminatedUnion('type', [
  z.looseObject({
    type: z.literal('start'),
    /** ISO 8601 with offset. */
    at: z.string(),
    app: z.string().optional(),
    zone: z.string().optional(),
    car: z.string().optional(),
    sources: z.array(z.unknown()).optional(),
  }),
  z.looseObject({ type: z.literal('car'), car: carSchema }),
  z.looseObject({ type: z.literal('fitted'), fitted: fittedSchema }),
  airSchema.loose().extend({ type: z.literal('air') }),
  z.looseObject({ type: z.literal('mark'), label: z.string().max(200).default('') }),
  z.looseObject({ type: z.literal('note'), text: z.string().max(4000) }),
  z.looseObject({ type: z.literal('title'), text: z.string().max(200) }),
  z.looseObject({ type: z.literal('stop'), reason: z.string().optional() }),
  z.looseObject({
    type: z.literal('free_air'),
    bank: z.number().int().min(1).max(2).default(1),
    current_mA: z.number(),
  }),
])
export type CaptureRecord = z.infer<typeof captureRecordSchema>

/** Types of the records that hold for a whole run, whenever they came. */
export const wholeRunTypes: ReadonlySet<string> = new Set(['car', 'fitted', 'air', 'free_air', 'title'])
/** A record of these. */
export const wholeRunRecordSchema = captureRecordSchema.refine(({ type }) => wholeRunTypes.has(type), {
  message: `expected one of ${[...wholeRunTypes].join(', ')}`,
})

/** A record with its place on the capture's clock. */
export interface TimedRecord {
  readonly timeS: number
  readonly record: CaptureRecord
}

/** A bridge notice (kind `!`), e.g. `{source: 0, what: 'lost'}`; free form. */
export interface TimedNotice {
  readonly timeS: number
  readonly notice: Readonly<Record<string, unknown>>
}
