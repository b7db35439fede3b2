import type * as z from 'zod'

const kinds: Readonly<Record<string, string>> = {
  string: 'a text',
  number: 'a number',
  int: 'a whole number',
  boolean: 'true or false',
  object: 'an object',
  record: 'an object',
  array: 'a list',
  tuple: 'a list',
}

/** What was found, as JSON shows it; long texts are cut. */
function found(value: unknown): string {
  if (typeof value === 'number' && !Number.isFinite(value)) return 'no number'
  if (Array.isArray(value)) return 'a list'
  if (typeof value === 'object' && value !== null) return 'an object'
  const text = JSON.stringify(value) ?? 'nothing'
  return text.length > 40 ? `${text.slice(0, 39)}…` : text
}

/** "characters" or "entries" of what is counted. */
const counted: Readonly<Record<string, string>> = { string: ' characters', array: ' entries' }

/**
 * What is wrong with one field of a JSON object and what is expected, in words for the person who wrote it; to be given to `safeParse` as its
 * `error`. Undefined leaves the schema's own words, which say more where the schema has some.
 */
export function plainIssue(issue: z.core.$ZodRawIssue): string | undefined {
  const { code, input } = issue
  const isMissing = input === undefined
  if (code === 'invalid_type') {
    const expected = kinds[String(issue.expected)] ?? String(issue.expected)
    return isMissing ? `is missing (expected ${expected})` : `expected ${expected}, found ${found(input)}`
  }
  if (code === 'invalid_value') {
    const values = (issue.values as readonly unknown[]).map((value) => JSON.stringify(value)).join(', ')
    return isMissing ? `is missing (expected ${values})` : `expected ${values}, found ${found(input)}`
  }
  if (code === 'too_small' || code === 'too_big') {
    const isLeast = code === 'too_small'
    const limit = Number(isLeast ? issue.minimum : issue.maximum)
    const words = isLeast
      ? issue.inclusive === false
        ? 'more than'
        : 'at least'
      : issue.inclusive === false
        ? 'less than'
        : 'at most'
    const unit = counted[String(issue.origin)] ?? ''
    return `expected ${words} ${limit}${unit}${unit === '' ? `, found ${found(input)}` : ''}`
  }
  if (code === 'unrecognized_keys') return `unknown: ${(issue.keys as readonly string[]).join(', ')}`
  if (code === 'invalid_format') return `${found(input)} is not of the form that is expected here`
  return undefined
}

/** One line of a failed `safeParse`: the field, and what is wrong with it. */
export function issueLine(
  issue: { readonly path: readonly PropertyKey[]; readonly message: string },
  whole: string,
): string {
  return `${issue.path.map(String).join('.') || whole}: ${issue.message}`
}
