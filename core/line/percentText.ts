import { pushUtf8, utf8Text } from './utf8.ts'

const comma = 0x2c
const star = 0x2a
const percent = 0x25

/** A text as a field of a line: `,` `*` `%`, control bytes and all that is no ASCII become `%HH` of their UTF-8 bytes. */
export function encodeTextField(text: string): string {
  const bytes: number[] = []
  pushUtf8(bytes, text)
  let field = ''
  for (const byte of bytes) {
    const plain = byte >= 0x20 && byte < 0x7f && byte !== comma && byte !== star && byte !== percent
    field += plain ? String.fromCharCode(byte) : `%${byte.toString(16).toUpperCase().padStart(2, '0')}`
  }
  return field
}

/** The text of a field's bytes `[start, end)`. A `%` without two hex digits behind it stands for itself. */
export function decodeTextField(bytes: Uint8Array, start: number, end: number): string {
  const plain: number[] = []
  for (let i = start; i < end; i++) {
    const high = bytes[i] === percent && i + 2 < end ? hexDigit(bytes[i + 1]) : -1
    const low = high < 0 ? -1 : hexDigit(bytes[i + 2])
    if (low < 0) plain.push(bytes[i])
    else {
      plain.push(high * 16 + low)
      i += 2
    }
  }
  return utf8Text(plain)
}

/** Value of a hex digit of either case, −1 for any other byte. */
export function hexDigit(byte: number): number {
  if (byte >= 0x30 && byte <= 0x39) return byte - 0x30
  if (byte >= 0x41 && byte <= 0x46) return byte - 0x41 + 10
  if (byte >= 0x61 && byte <= 0x66) return byte - 0x61 + 10
  return -1
}
