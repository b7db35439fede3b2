import { hexDigit } from '../line/percentText.ts'

const backslash = 0x5c
const hexDigits = '0123456789ABCDEF'

/** Most bytes that become text in one call: each is an argument of it. */
const longestCall = 1024

/** Bytes as printable ASCII: a backslash becomes `\\`, what is not printable `\xHH`. */
export function escapeBytes(bytes: Uint8Array, start = 0, end = bytes.length): string {
  let text = ''
  let plainFrom = start
  for (let i = start; i < end; i++) {
    const byte = bytes[i]
    if (byte >= 0x20 && byte < 0x7f && byte !== backslash) continue
    text += plainText(bytes, plainFrom, i)
    text += byte === backslash ? '\\\\' : `\\x${hexDigits[byte >> 4]}${hexDigits[byte & 15]}`
    plainFrom = i + 1
  }
  return text + plainText(bytes, plainFrom, end)
}

/** Printable bytes as text, many in one call: a string grown byte by byte leaves one piece of waste for each. */
function plainText(bytes: Uint8Array, start: number, end: number): string {
  let text = ''
  for (let from = start; from < end; from += longestCall) {
    text += String.fromCharCode.apply(
      undefined,
      bytes.subarray(from, Math.min(end, from + longestCall)) as unknown as number[],
    )
  }
  return text
}

/**
 * Writes the bytes that an escaped payload `bytes[start, end)` stands for to `out`, which must be as long as the payload.
 * A backslash that begins no escape stands for itself.
 * @returns the number of bytes written
 */
export function unescapeInto(bytes: Uint8Array, start: number, end: number, out: Uint8Array): number {
  let length = 0
  for (let i = start; i < end; i++) {
    const byte = bytes[i]
    if (byte !== backslash || i + 1 >= end) out[length++] = byte
    else if (bytes[i + 1] === backslash) {
      out[length++] = backslash
      i++
    } else {
      const high = bytes[i + 1] === 0x78 && i + 3 < end ? hexDigit(bytes[i + 2]) : -1
      const low = high < 0 ? -1 : hexDigit(bytes[i + 3])
      if (low < 0) out[length++] = byte
      else {
        out[length++] = high * 16 + low
        i += 3
      }
    }
  }
  return length
}

/** The bytes that an escaped payload stands for; characters of a text are bytes. */
export function unescapeBytes(payload: string | Uint8Array): Uint8Array {
  const bytes = typeof payload === 'string' ? Uint8Array.from(payload, (c) => c.charCodeAt(0)) : payload
  const out = new Uint8Array(bytes.length)
  return out.slice(0, unescapeInto(bytes, 0, bytes.length, out))
}
