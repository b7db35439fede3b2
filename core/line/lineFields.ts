import { crc16 } from './crc16.ts'
import { type LineField, type LineMap, maxPatternLineBytes } from './lineMap.ts'

/** One line taken apart: the texts of the wanted fields, or what became of the line instead. */
export type SplitLine =
  | { readonly kind: 'fields'; readonly values: readonly string[] }
  | { readonly kind: 'header' }
  | { readonly kind: 'misfit'; readonly reason: string }

/** Takes lines apart after a map; remembers the header it met. */
export type LineFieldReader = (text: string) => SplitLine

const misfit = (reason: string): SplitLine => ({ kind: 'misfit', reason })

/** `wanted`: the fields whose texts are given back, in this order; a missing JSON key gives an empty text. */
export function createLineFieldReader(map: LineMap, wanted: readonly LineField[]): LineFieldReader {
  const { lines } = map
  if (lines.by === 'json') return (text) => readJson(text, wanted as readonly string[], map.decimal)
  if (lines.by === 'pattern') return createPatternReader(lines.pattern, wanted)
  return createDividerReader(lines, wanted)
}

function createPatternReader(pattern: string, wanted: readonly LineField[]): LineFieldReader {
  // Sticky: the pattern describes a line from its start, so that no start within the line is tried.
  const expression = new RegExp(pattern, 'y')
  return (text) => {
    if (text.length > maxPatternLineBytes) return misfit(`longer than ${maxPatternLineBytes} characters`)
    expression.lastIndex = 0
    const found = expression.exec(text)
    if (!found || found[0] === '') return misfit('the pattern does not fit')
    const values = wanted.map(
      (field) => (typeof field === 'number' ? found[field] : found.groups?.[field]) ?? '',
    )
    return { kind: 'fields', values }
  }
}

function createDividerReader(
  { divider, fields }: Extract<LineMap['lines'], { by: 'divider' }>,
  wanted: readonly LineField[],
): LineFieldReader {
  const names = wanted.filter((field): field is string => typeof field === 'string').map(fold)
  let positions = wanted.map((field) => (typeof field === 'number' ? field - 1 : -1))
  let fieldCount = fields
  // Where a name is looked for, a header has a word; a name that begins as a number does takes this short cut away.
  const firstNamed = names.some((name) => beginsAsNumber(name))
    ? -1
    : wanted.findIndex((field) => typeof field === 'string')
  return (text) => {
    const parts = splitFields(text, divider)
    const isData =
      firstNamed >= 0 && positions[firstNamed] >= 0 && beginsAsNumber(parts[positions[firstNamed]] ?? '')
    if (names.length > 0 && !isData) {
      const folded = parts.map(fold)
      if (names.every((name) => folded.includes(name))) {
        positions = wanted.map((field) =>
          typeof field === 'number' ? field - 1 : folded.indexOf(fold(field)),
        )
        fieldCount = fields ?? parts.length
        return { kind: 'header' }
      }
      if (positions.includes(-1))
        return misfit(`no header yet with ${names.map((name) => `"${name}"`).join(', ')}`)
    }
    if (fieldCount !== undefined && parts.length !== fieldCount)
      return misfit(`${parts.length} fields, expected ${fieldCount}`)
    const last = Math.max(...positions)
    if (last >= parts.length) return misfit(`${parts.length} fields, expected at least ${last + 1}`)
    return { kind: 'fields', values: positions.map((position) => parts[position]) }
  }
}

/** True for a text that begins with a digit, a sign or a decimal mark. */
function beginsAsNumber(text: string): boolean {
  const code = text.charCodeAt(0)
  return (code >= 0x30 && code <= 0x39) || (code >= 0x2b && code <= 0x2e)
}

const fold = (name: string) => name.trim().toLowerCase()

/** Splits at the divider outside double quotes (RFC 4180: a doubled quote inside is one); fields lose surrounding white space. */
export function splitFields(text: string, divider: string): string[] {
  if (divider === ' ') return text.trim().split(/\s+/)
  if (!text.includes('"')) {
    const whole = text.split(divider)
    for (let i = 0; i < whole.length; i++) whole[i] = whole[i].trim()
    return whole
  }
  const parts: string[] = []
  let part = ''
  let isQuoted = false
  for (let i = 0; i < text.length; i++) {
    if (text[i] === '"') {
      if (isQuoted && text[i + 1] === '"') part += text[i++]
      else isQuoted = !isQuoted
    } else if (!isQuoted && text.startsWith(divider, i)) {
      parts.push(part.trim())
      part = ''
      i += divider.length - 1
    } else part += text[i]
  }
  parts.push(part.trim())
  return parts
}

function readJson(text: string, wanted: readonly string[], decimal: '.' | ','): SplitLine {
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch {
    return misfit('no JSON')
  }
  if (value === null || typeof value !== 'object' || Array.isArray(value)) return misfit('no JSON object')
  const values = wanted.map((name) => {
    const found = lookUp(value, name)
    if (found === undefined || found === null) return ''
    // A JSON number has a point, whatever mark its texts use.
    return typeof found === 'number' && decimal === ',' ? String(found).replace('.', ',') : String(found)
  })
  return values.every((text) => text === '')
    ? misfit('none of the names is in it')
    : { kind: 'fields', values }
}

function lookUp(value: object, name: string): unknown {
  if (Object.hasOwn(value, name)) return (value as Record<string, unknown>)[name]
  let inner: unknown = value
  for (const step of name.split('.')) {
    if (inner === null || typeof inner !== 'object' || !Object.hasOwn(inner, step)) return undefined
    inner = (inner as Record<string, unknown>)[step]
  }
  return inner
}

/** The line without its checksum when that holds, undefined when it does not; `text` holds bytes as characters. */
export function stripLineChecksum(
  text: string,
  { rule, separator, start }: NonNullable<LineMap['checksum']>,
): string | undefined {
  const at = text.lastIndexOf(separator)
  if (at < 0 || !text.startsWith(start)) return undefined
  const body = text.slice(start.length, at)
  const digits = text.slice(at + separator.length).trim()
  if (digits.length !== (rule === 'crc16' ? 4 : 2) || !/^[0-9a-fA-F]+$/.test(digits)) return undefined
  let sum = 0
  if (rule === 'crc16') sum = crc16(body)
  else
    for (let i = 0; i < body.length; i++)
      sum = rule === 'xor' ? sum ^ body.charCodeAt(i) : (sum + body.charCodeAt(i)) & 0xff
  return sum === Number.parseInt(digits, 16) ? body : undefined
}
