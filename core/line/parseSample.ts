/** Most values of one sample: what 250 bytes can hold, every field empty but for its comma, rounded up. */
export const maxSampleFields = 256
/** Length of the array that `parseSampleInto` fills: seq, tick, values. */
export const sampleScratchLength = maxSampleFields + 2

const maxSeq = 0xffff
const maxTick = 0xffffffff
/** Digits that surely fit a 32 bit integer. */
const quickDigits = 9
/** Digits that a double holds exactly. */
const maxDigits = 15

/**
 * Reads the fields of an `S` line by hand: no strings, no allocation.
 * `bytes[end]` must exist and be no digit and no comma (it is the `*`).
 * @param start first byte after `S,`
 * @param out receives seq, tick and the values, NaN for an empty field
 * @returns the number of values, −1 when a field is no decimal integer, or seq or tick is missing or out of range
 */
export function parseSampleInto(bytes: Uint8Array, start: number, end: number, out: Float64Array): number {
  let count = 0
  let i = start
  for (;;) {
    let byte = bytes[i]
    const negative = byte === 0x2d
    if (negative) byte = bytes[++i]
    const first = i
    let value = 0
    while (byte >= 0x30 && byte <= 0x39) {
      value = (value * 10 + byte - 0x30) | 0
      byte = bytes[++i]
    }
    const digits = i - first
    if (digits > quickDigits) {
      if (digits > maxDigits) return -1
      out[count++] = longInteger(bytes, first, i, negative)
    } else if (digits > 0) {
      // 0 − value and not −value: there is no negative zero among integers.
      out[count++] = negative ? 0 - value : value
    } else {
      if (negative) return -1
      out[count++] = Number.NaN
    }
    if (i >= end) break
    if (byte !== 0x2c) return -1
    i++
  }
  const seq = out[0]
  const tick = out[1]
  return count >= 2 && seq >= 0 && seq <= maxSeq && tick >= 0 && tick <= maxTick ? count - 2 : -1
}

function longInteger(bytes: Uint8Array, start: number, end: number, negative: boolean): number {
  let value = 0
  for (let i = start; i < end; i++) value = value * 10 + (bytes[i] - 0x30)
  return negative ? 0 - value : value
}
