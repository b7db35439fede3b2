import * as z from 'zod'
import { wholeRunRecordSchema } from '../contract/records.ts'
import { boardChannels, declaredUnits, splitChannelName } from './channels.ts'
import { checkLinePattern } from './linePattern.ts'

/** Longest line read by a divider or as JSON, bytes; the rest of an over-long one is passed over. */
export const maxMapLineBytes = 1000
/** Longest line a pattern is tried on: the time of a match grows with a power of it. */
export const maxPatternLineBytes = 250

const finite = z.number().refine(Number.isFinite)
const pointSchema = z.tuple([finite, finite])
const pointsSchema = z.array(pointSchema).min(2).max(500)

const dividerSchema = z.strictObject({
  supply_V: z.number().positive(),
  fixed_ohm: z.number().positive(),
  /** Where the sender sits; default `to_ground`: the fixed resistor pulls up. */
  sender: z.enum(['to_ground', 'to_supply']).optional(),
})

/** How a field's number becomes the channel's value. */
export const lineTransferSchema = z.union([
  /** value = number × scale + offset. */
  z.strictObject({ type: z.literal('linear'), scale: finite.default(1), offset: finite.default(0) }),
  /** Straight lines between the points [number, value], in rising order of the numbers; outside them there is no reading. */
  z.strictObject({ type: z.literal('table'), points: pointsSchema }),
  /** °C from Ω, or from V with a divider; by β, by Steinhart–Hart, or by points [Ω, °C]. */
  z.strictObject({
    type: z.literal('thermistor'),
    model: z.union([
      z.strictObject({ beta: z.number().positive(), r0_ohm: z.number().positive(), t0_C: finite }),
      z.strictObject({ a: finite, b: finite, c: finite }),
      z.strictObject({ points: pointsSchema }),
    ]),
    divider: dividerSchema.optional(),
  }),
])
export type LineTransfer = z.infer<typeof lineTransferSchema>

/** Which field: a position, the first being 1; or a name from the header, of a group of the pattern, or a JSON key (`engine.rpm` for a nested one). */
const fieldSchema = z.union([z.number().int().min(1).max(200), z.string().min(1).max(80)])
export type LineField = z.infer<typeof fieldSchema>

const mappedChannelSchema = z.strictObject({
  field: fieldSchema,
  channel: z.string().regex(/^[A-Za-z][A-Za-z0-9_]{0,39}$/),
  unit: z.string().min(1).max(16),
  transfer: lineTransferSchema.optional(),
  /** Believable values [least, most] in the unit; any other is no reading and counted. */
  range: pointSchema.optional(),
})
export type MappedChannel = z.infer<typeof mappedChannelSchema>

export const lineMapSchema = z.strictObject({
  format: z.literal('floatbowl-map 1'),
  name: z.string().max(80).optional(),
  /** How a line is taken apart. */
  lines: z.union([
    z.strictObject({
      by: z.literal('divider'),
      /** What stands between fields, one to four characters; `" "` means any white space. */
      divider: z.string().min(1).max(4),
      /** Exact number of fields of a good line; others do not fit. A header says it too. */
      fields: z.number().int().min(1).max(200).optional(),
    }),
    z.strictObject({ by: z.literal('pattern'), pattern: z.string().min(1).max(500) }),
    z.strictObject({ by: z.literal('json') }),
  ]),
  /** Lines that begin with one of these are passed over. */
  comments: z.array(z.string().min(1).max(10)).max(10).default([]),
  /** Lines passed over at the very start of a file. */
  skip_lines: z.number().int().min(0).max(1000).default(0),
  /** Lines passed over after each header, e.g. one with units. */
  skip_after_header: z.number().int().min(0).max(20).default(0),
  decimal: z.enum(['.', ',']).default('.'),
  /** What a field says when there is no reading, besides an empty one. */
  missing: z.array(z.string().max(20)).max(20).default(['-', '--', 'NaN', 'nan', 'null', 'N/A']),
  clock: z
    .strictObject({
      field: fieldSchema,
      /** `clock` is HH:MM:SS(.s) or MM:SS(.s), over midnight too; `iso8601` a date and a time, UTC where no zone is given. */
      format: z.enum(['seconds', 'milliseconds', 'microseconds', 'clock', 'iso8601']),
    })
    .optional(),
  /** Samples a second of a source without a clock. */
  rate_hz: z.number().min(0.01).max(5000).optional(),
  checksum: z
    .strictObject({
      /** `xor` and `sum` (modulo 256) are two hex digits, `crc16` (polynomial 0x1021, initial 0xFFFF) is four. */
      rule: z.enum(['xor', 'sum', 'crc16']),
      /** Stands between the text and its checksum; the last one in the line counts. */
      separator: z.string().min(1).max(4).default('*'),
      /** Begins a line and is not summed. */
      start: z.string().max(4).default(''),
    })
    .optional(),
  channels: z.array(mappedChannelSchema).min(1).max(64),
  /** What a log that is imported by this map does not say itself: car, parts, air, the sensor in free air. */
  records: z.array(wholeRunRecordSchema).max(20).optional(),
})
export type LineMap = z.infer<typeof lineMapSchema>

/**
 * Reads a line map from JSON text or from a value already parsed.
 * @throws RangeError that names the first offending field, what it says and what was expected
 */
export function parseLineMap(json: unknown): LineMap {
  let value = json
  if (typeof json === 'string') {
    try {
      value = JSON.parse(json)
    } catch (error) {
      throw new RangeError(`line map: no valid JSON (${(error as Error).message})`)
    }
  }
  const parsed = lineMapSchema.safeParse(value)
  if (!parsed.success) throw new RangeError(firstFault(parsed.error.issues, value))
  checkSense(parsed.data)
  return parsed.data
}

type Issue = z.core.$ZodIssue

function firstFault(issues: readonly Issue[], value: unknown): string {
  let issue = issues[0]
  const path = [...issue.path]
  // Of a choice between forms, the form that went furthest is the one that was meant.
  while (issue.code === 'invalid_union' && issue.errors.length > 0) {
    const deepest = issue.errors
      .map((branch) => branch[0])
      .sort((a, b) => Number(isWrongForm(a)) - Number(isWrongForm(b)))[0]
    if (deepest === undefined) break
    path.push(...deepest.path)
    issue = deepest
  }
  if (issue.code === 'unrecognized_keys') path.push(issue.keys[0])
  return `line map: ${describePath(path)}: ${issue.message}, found ${describe(at(value, path))}`
}

/** True for an issue that only says "this is not my form": a wrong tag, a missing or an unknown key at the top of the branch. */
function isWrongForm(issue: Issue): boolean {
  return issue.path.length === 0 || issue.code === 'invalid_value' || issue.code === 'unrecognized_keys'
}

function describePath(path: readonly PropertyKey[]): string {
  if (path.length === 0) return 'the whole'
  return path
    .map((step) => (typeof step === 'number' ? `[${step}]` : `.${String(step)}`))
    .join('')
    .replace(/^\./, '')
}

function at(value: unknown, path: readonly PropertyKey[]): unknown {
  let inner = value
  for (const step of path) {
    if (inner === null || typeof inner !== 'object') return undefined
    inner = (inner as Record<PropertyKey, unknown>)[step]
  }
  return inner
}

function describe(value: unknown): string {
  const text = JSON.stringify(value) ?? 'nothing'
  return text.length > 80 ? `${text.slice(0, 77)}…` : text
}

/** Rules between fields, which a schema cannot say. */
function checkSense(map: LineMap): void {
  const fail = (field: string, text: string) => {
    throw new RangeError(`line map: ${field}: ${text}`)
  }
  if (map.lines.by === 'divider' && map.lines.divider.includes(map.decimal)) {
    fail('decimal', `"${map.decimal}" is the divider too`)
  }
  if (map.lines.by === 'pattern') {
    const fault = checkLinePattern(map.lines.pattern)
    if (fault !== undefined) fail('lines.pattern', fault)
    for (const [where, field] of fieldsOf(map)) {
      if (!hasGroup(map.lines.pattern, field)) fail(where, `the pattern has no group ${describe(field)}`)
    }
  }
  for (const [where, field] of fieldsOf(map)) {
    if (map.lines.by === 'json' && typeof field === 'number')
      fail(where, `JSON has names, no positions, found ${field}`)
    if (map.lines.by === 'divider' && typeof field === 'number' && field > (map.lines.fields ?? Infinity)) {
      fail(where, `is ${field}, but a line has ${map.lines.fields} fields`)
    }
  }
  const seen = new Set<string>()
  map.channels.forEach((channel, i) => {
    const where = `channels[${i}]`
    if (seen.has(channel.channel)) fail(`${where}.channel`, `"${channel.channel}" is there twice`)
    seen.add(channel.channel)
    const isKnown = Object.hasOwn(boardChannels, splitChannelName(channel.channel).base)
    if (isKnown && !declaredUnits.has(channel.unit)) {
      fail(
        `${where}.unit`,
        `unknown unit "${channel.unit}" (expected one of ${[...declaredUnits].join(' ')})`,
      )
    }
    if (channel.range && !(channel.range[0] < channel.range[1])) {
      fail(`${where}.range`, `must rise, found ${describe(channel.range)}`)
    }
    const transfer = channel.transfer
    if (transfer?.type === 'table') {
      const falls = transfer.points.findIndex((point, k) => k > 0 && !(point[0] > transfer.points[k - 1][0]))
      if (falls > 0)
        fail(
          `${where}.transfer.points[${falls}]`,
          `numbers must rise, found ${describe(transfer.points[falls])}`,
        )
    }
    if (transfer?.type === 'thermistor' && channel.unit !== 'C') {
      fail(`${where}.unit`, `a thermistor gives C, found "${channel.unit}"`)
    }
  })
}

function* fieldsOf(map: LineMap): Generator<[string, LineField]> {
  if (map.clock) yield ['clock.field', map.clock.field]
  for (let i = 0; i < map.channels.length; i++) yield [`channels[${i}].field`, map.channels[i].field]
}

function hasGroup(pattern: string, field: LineField): boolean {
  // With an empty alternative anything matches, and the result lists all groups there are.
  const groups = new RegExp(`${pattern}|`).exec('')!
  return typeof field === 'number'
    ? field < groups.length
    : groups.groups !== undefined && field in groups.groups
}
