import { checkObject, showValue } from '../numeric/checkKind.ts'
import { type BoardLine, maxLineBytes } from './boardLine.ts'
import { crc16 } from './crc16.ts'
import { encodeTextField } from './percentText.ts'

/**
 * One line of a board with its checksum, without a line ending.
 * A NaN among a sample's values is an empty field: no reading.
 * @throws RangeError when a number cannot be written in its field, or the line would be longer than 250 bytes
 */
export function encodeLine(record: BoardLine): string {
  checkObject('record', record, 'a line of a board')
  const body = lineBody(record)
  const line = `${body}*${crc16(body).toString(16).toUpperCase().padStart(4, '0')}`
  if (line.length > maxLineBytes) {
    throw new RangeError(
      `line of ${line.length} bytes, at most ${maxLineBytes} are allowed: ${line.slice(0, 40)}…`,
    )
  }
  return line
}

function lineBody(record: BoardLine): string {
  switch (record.kind) {
    case 'sample':
      return sampleBody(record.seq, record.tick, record.values)
    case 'identity': {
      const text = [record.boardName, record.firmware, record.uniqueId].map(encodeTextField).join(',')
      const version = unsigned('version', record.version, 0xffff)
      return `I,${version},${text},${unsigned('ticksPerSecond', record.ticksPerSecond, 0xffffffff)}`
    }
    case 'channel': {
      if (record.name === '') throw new RangeError('channel name is empty')
      const text = `${encodeTextField(record.name)},${encodeTextField(record.unit)}`
      const index = unsigned('index', record.index, 0xff)
      return `C,${index},${text},${finite('scale', record.scale)},${finite('offset', record.offset)}`
    }
    case 'event':
      if (record.code === '') throw new RangeError('event code is empty')
      return `E,${unsigned('tick', record.tick, 0xffffffff)},${encodeTextField(record.code)},${encodeTextField(record.text)}`
    case 'answer':
      return `A,${encodeTextField(record.command)},${record.ok ? 'ok' : 'error'},${encodeTextField(record.text)}`
    default:
      throw new RangeError(
        `invalid kind: ${showValue((record as { kind?: unknown }).kind)} (expected sample, identity, channel, event or answer)`,
      )
  }
}

function sampleBody(seq: number, tick: number, values: readonly number[]): string {
  let body = `S,${unsigned('seq', seq, 0xffff)},${unsigned('tick', tick, 0xffffffff)}`
  for (const value of values) {
    if (Number.isNaN(value)) body += ','
    else if (Number.isInteger(value) && Math.abs(value) < 1e15) body += `,${value}`
    else
      throw new RangeError(
        `invalid sample value: ${value} (expected an integer below 1e15, or NaN for no reading)`,
      )
  }
  return body
}

function unsigned(name: string, value: number, max: number): number {
  if (Number.isInteger(value) && value >= 0 && value <= max) return value
  throw new RangeError(`invalid ${name}: ${value} (expected an integer 0 … ${max})`)
}

function finite(name: string, value: number): number {
  if (Number.isFinite(value)) return value
  throw new RangeError(`invalid ${name}: ${value} (expected a finite number)`)
}
