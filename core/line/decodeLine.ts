import { checkObject } from '../numeric/checkKind.ts'
import type { BadLine, BoardLine } from './boardLine.ts'
import { badChecksum, findChecksum } from './checkLine.ts'
import { maxRowLength, parseSampleInto, rowHeadLength } from './parseSample.ts'
import { decodeTextField } from './percentText.ts'

const bad: Readonly<Record<BadLine['reason'], BadLine>> = {
  bad_checksum: Object.freeze({ kind: 'bad', reason: 'bad_checksum' }),
  unreadable: Object.freeze({ kind: 'bad', reason: 'unreadable' }),
}

const integerPattern = /^\d{1,10}$/
const decimalPattern = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?$/
/** No line can carry more fields than this. */
const maxIndex = 255

/**
 * Reads one line of a board, with or without its ending. No line throws: one that cannot be used comes back as `{kind: 'bad'}` with the reason.
 * Empty value fields of a sample are NaN. Text fields are percent-decoded.
 * @throws RangeError when it is given neither a text nor bytes
 */
export function decodeLine(line: string | Uint8Array): BoardLine | BadLine {
  if (typeof line !== 'string') checkObject('line', line, 'a text or bytes')
  const bytes = typeof line === 'string' ? charBytes(line) : line
  let end = bytes.length
  if (end > 0 && bytes[end - 1] === 0x0a) end--
  if (end > 0 && bytes[end - 1] === 0x0d) end--
  const starAt = findChecksum(bytes, 0, end)
  if (starAt < 0) return starAt === badChecksum ? bad.bad_checksum : bad.unreadable
  return parseLine(bytes, 0, starAt) ?? bad.unreadable
}

/** Reads a line whose checksum holds; `bytes[starAt]` is its `*`. Undefined when its content is none of the format. */
export function parseLine(bytes: Uint8Array, start: number, starAt: number): BoardLine | undefined {
  if (bytes[start + 1] !== 0x2c) return undefined
  const from = start + 2
  switch (bytes[start]) {
    case 0x53:
      return parseSample(bytes, from, starAt)
    case 0x49:
      return parseIdentity(textFields(bytes, from, starAt))
    case 0x43:
      return parseChannel(textFields(bytes, from, starAt))
    case 0x45:
      return parseEvent(textFields(bytes, from, starAt))
    case 0x41:
      return parseAnswer(textFields(bytes, from, starAt))
    default:
      return undefined
  }
}

function parseSample(bytes: Uint8Array, from: number, starAt: number): BoardLine | undefined {
  const row = new Float64Array(maxRowLength)
  if (parseSampleInto(bytes, from, starAt, row, 0) !== starAt) return undefined
  const [count, seq, tick] = row
  return { kind: 'sample', seq, tick, values: Array.from(row.subarray(rowHeadLength, rowHeadLength + count)) }
}

function parseIdentity(fields: string[]): BoardLine | undefined {
  const version = integer(fields[0], 0xffff)
  const ticksPerSecond = integer(fields[4], 0xffffffff)
  if (version === undefined || version < 1 || ticksPerSecond === undefined) return undefined
  return {
    kind: 'identity',
    version,
    boardName: fields[1],
    firmware: fields[2],
    uniqueId: fields[3],
    ticksPerSecond,
  }
}

function parseChannel(fields: string[]): BoardLine | undefined {
  const index = integer(fields[0], maxIndex)
  const scale = decimal(fields[3])
  const offset = decimal(fields[4])
  if (index === undefined || !fields[1] || scale === undefined || offset === undefined) return undefined
  return { kind: 'channel', index, name: fields[1], unit: fields[2], scale, offset }
}

function parseEvent(fields: string[]): BoardLine | undefined {
  const tick = integer(fields[0], 0xffffffff)
  if (tick === undefined || !fields[1]) return undefined
  return { kind: 'event', tick, code: fields[1], text: fields[2] ?? '' }
}

function parseAnswer(fields: string[]): BoardLine | undefined {
  if (fields[1] !== 'ok' && fields[1] !== 'error') return undefined
  return { kind: 'answer', command: fields[0], ok: fields[1] === 'ok', text: fields[2] ?? '' }
}

function integer(field: string | undefined, max: number): number | undefined {
  if (field === undefined || !integerPattern.test(field)) return undefined
  const value = Number(field)
  return value <= max ? value : undefined
}

function decimal(field: string | undefined): number | undefined {
  if (field === undefined || !decimalPattern.test(field)) return undefined
  const value = Number(field)
  return Number.isFinite(value) ? value : undefined
}

function textFields(bytes: Uint8Array, from: number, end: number): string[] {
  const fields: string[] = []
  let start = from
  for (let i = from; i <= end; i++) {
    if (i < end && bytes[i] !== 0x2c) continue
    fields.push(decodeTextField(bytes, start, i))
    start = i + 1
  }
  return fields
}

/** Characters beyond a byte become 0xFF, which no valid line contains, so that the checksum tells. */
function charBytes(text: string): Uint8Array {
  const bytes = new Uint8Array(text.length)
  for (let i = 0; i < text.length; i++) bytes[i] = Math.min(text.charCodeAt(i), 0xff)
  return bytes
}
