import { checkObject } from '../numeric/checkKind.ts'

/** Generator polynomial of the board's checksum, x¹⁶ + x¹² + x⁵ + 1 (contract of the line format). */
const polynomial = 0x1021
/** Register before the first byte. */
const initial = 0xffff

/** Eight tables of 256: `tables[n * 256 + b]` is the checksum of byte b followed by n zero bytes, register starting at 0. */
const tables = buildTables()

function buildTables(): Uint16Array {
  const built = new Uint16Array(8 * 256)
  for (let byte = 0; byte < 256; byte++) {
    let register = byte << 8
    for (let bit = 0; bit < 8; bit++)
      register = register & 0x8000 ? (register << 1) ^ polynomial : register << 1
    built[byte] = register
  }
  for (let zeros = 1; zeros < 8; zeros++) {
    for (let byte = 0; byte < 256; byte++) {
      const before = built[(zeros - 1) * 256 + byte]
      built[zeros * 256 + byte] = (before << 8) ^ built[before >> 8]
    }
  }
  return built
}

/**
 * Checksum of `bytes[start, end)`: CRC-16, polynomial 0x1021, initial 0xFFFF, not reflected, no final xor.
 * Eight bytes a step, since each step must wait for the one before.
 */
export function crc16Range(bytes: Uint8Array, start: number, end: number): number {
  const t = tables
  let register = initial
  let i = start
  for (; i + 8 <= end; i += 8) {
    register =
      t[1792 + (bytes[i] ^ (register >> 8))] ^
      t[1536 + (bytes[i + 1] ^ (register & 0xff))] ^
      t[1280 + bytes[i + 2]] ^
      t[1024 + bytes[i + 3]] ^
      t[768 + bytes[i + 4]] ^
      t[512 + bytes[i + 5]] ^
      t[256 + bytes[i + 6]] ^
      t[bytes[i + 7]]
  }
  if (i + 4 <= end) {
    register =
      t[768 + (bytes[i] ^ (register >> 8))] ^
      t[512 + (bytes[i + 1] ^ (register & 0xff))] ^
      t[256 + bytes[i + 2]] ^
      t[bytes[i + 3]]
    i += 4
  }
  for (; i < end; i++) register = ((register << 8) & 0xffff) ^ t[bytes[i] ^ (register >> 8)]
  return register
}

/**
 * Checksum of a board's line: CRC-16, polynomial 0x1021, initial 0xFFFF, not reflected, no final xor; 0x29B1 for "123456789".
 * @param input bytes, or a text whose characters are bytes
 * @throws RangeError when a character of the text is no byte, or the input is neither bytes nor a text
 */
export function crc16(input: Uint8Array | string): number {
  if (typeof input !== 'string') {
    checkObject('input', input, 'bytes or a text')
    return crc16Range(input, 0, input.length)
  }
  const bytes = new Uint8Array(input.length)
  for (let i = 0; i < input.length; i++) {
    const code = input.charCodeAt(i)
    if (code > 0xff) throw new RangeError(`character ${JSON.stringify(input[i])} at ${i} is no byte`)
    bytes[i] = code
  }
  return crc16Range(bytes, 0, bytes.length)
}
