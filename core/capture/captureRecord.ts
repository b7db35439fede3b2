import { type CaptureRecord, captureRecordSchema } from '../contract/records.ts'
import { utf8Text } from '../line/utf8.ts'

const knownTypes: ReadonlySet<unknown> = new Set(
  captureRecordSchema.options.map((option) => option.shape.type.value),
)

/** JSON object of a payload's bytes; a text that says what is wrong otherwise. */
export function parseJsonObject(bytes: Uint8Array): Record<string, unknown> | string {
  let value: unknown
  try {
    value = JSON.parse(utf8Text(bytes))
  } catch {
    return 'no valid JSON'
  }
  if (typeof value !== 'object' || value === null || Array.isArray(value)) return 'no JSON object'
  return value as Record<string, unknown>
}

/**
 * Checks a record against its schema; one of an unknown type is passed as it is, as the format may grow.
 * @returns the record, or a text that says what is wrong
 */
export function checkRecord(value: Record<string, unknown>): CaptureRecord | string {
  if (typeof value['type'] !== 'string') return 'type: missing'
  if (!knownTypes.has(value['type'])) return value as CaptureRecord
  const parsed = captureRecordSchema.safeParse(value)
  if (parsed.success) return parsed.data
  const issue = parsed.error.issues[0]
  return `${value['type']} record, ${issue.path.join('.') || 'whole'}: ${issue.message}`
}
