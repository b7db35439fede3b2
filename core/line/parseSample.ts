/** Places of a sample's row before its values: number of values, seq, tick. */
export const rowHeadLength = 3
/** Longest row: 250 bytes hold fewer than 250 fields. */
export const maxRowLength = rowHeadLength + 250

const maxSeq = 0xffff
const maxTick = 0xffffffff
/** Digits that surely fit a 32 bit integer. */
const quickDigits = 9
/** Digits that a double holds exactly. */
const maxDigits = 15
const comma = 0x2c
const minus = 0x2d

/**
 * Reads the fields of an `S` line by hand into a row: number of values, seq, tick, values; NaN for an empty field. No strings, no allocation.
 * @param start first byte after `S,`
 * @param end no field begins behind it
 * @param out receives the row from `at` on
 * @returns where the fields ended (at the `*`, in a good line), −1 when a number is too long, or seq or tick is missing or out of range
 */
export function parseSampleInto(
  bytes: Uint8Array,
  start: number,
  end: number,
  out: Float64Array,
  at: number,
): number {
  let to = at
  let i = start
  for (;;) {
    to++
    let byte = bytes[i]
    const negative = byte === minus
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
      out[to] = longInteger(bytes, first, i, negative)
    } else if (digits > 0) {
      // 0 − value and not −value: there is no negative zero among integers.
      out[to] = negative ? 0 - value : value
    } else {
      if (negative) return -1
      out[to] = Number.NaN
    }
    if (byte !== comma || i >= end) break
    i++
  }
  const count = to - at + 1 - rowHeadLength
  const seq = out[at + 1]
  const tick = out[at + 2]
  if (!(count >= 0 && seq >= 0 && seq <= maxSeq && tick >= 0 && tick <= maxTick)) return -1
  out[at] = count
  return i
}

function longInteger(bytes: Uint8Array, start: number, end: number, negative: boolean): number {
  let value = 0
  for (let i = start; i < end; i++) value = value * 10 + (bytes[i] - 0x30)
  return negative ? 0 - value : value
}
