import { maxLineBytes } from './boardLine.ts'
import { crc16Range } from './crc16.ts'
import { hexDigit } from './percentText.ts'

/** Answers of `findChecksum` in place of a position. */
export const badChecksum = -1
export const unreadableLine = -2

/** Bytes of `*` and the four hex digits. */
export const tailBytes = 5
const star = 0x2a
const comma = 0x2c

/** Value of an upper-case hex digit, −1 for any other byte: the contract knows upper case only. */
function upperHex(byte: number): number {
  if (byte >= 0x30 && byte <= 0x39) return byte - 0x30
  if (byte >= 0x41 && byte <= 0x46) return byte - 0x41 + 10
  return -1
}

/** True when a `*` stands at `at` and the four digits behind it are the checksum of `bytes[start, at)`. */
export function isChecksumAt(bytes: Uint8Array, start: number, at: number): boolean {
  if (bytes[at] !== star) return false
  const stated =
    (upperHex(bytes[at + 1]) << 12) |
    (upperHex(bytes[at + 2]) << 8) |
    (upperHex(bytes[at + 3]) << 4) |
    upperHex(bytes[at + 4])
  // A digit that is none makes the whole negative, which no checksum is.
  return stated === crc16Range(bytes, start, at)
}

/**
 * Checks the checksum of a line `bytes[start, end)` without its ending.
 * @returns the position of the `*` when it holds; `badChecksum` when the line was one of the format and is damaged or torn (it starts like
 * one, or ends in something like a checksum); `unreadableLine` for all else
 */
export function findChecksum(bytes: Uint8Array, start: number, end: number): number {
  const at = end - tailBytes
  if (end - start > maxLineBytes) return unreadableLine
  if (at >= start && isChecksumAt(bytes, start, at)) return at
  return looksLikeLine(bytes, start, end) ? badChecksum : unreadableLine
}

function looksLikeLine(bytes: Uint8Array, start: number, end: number): boolean {
  const at = end - tailBytes
  if (at >= start && bytes[at] === star) {
    let digits = 0
    for (let i = at + 1; i < end; i++) if (hexDigit(bytes[i]) >= 0) digits++
    if (digits >= 3) return true
  }
  return end - start >= 2 && bytes[start + 1] === comma && isLineLetter(bytes[start])
}

function isLineLetter(byte: number): boolean {
  return byte === 0x49 || byte === 0x43 || byte === 0x53 || byte === 0x45 || byte === 0x41
}
