/** Places of a sample's row before its values: number of values, seq, tick. */
export const rowHeadLength = 3
/** Longest row: 250 bytes hold fewer than 250 fields. */
export const maxRowLength = rowHeadLength + 250

const maxSeq = 0xffff
const maxTick = 0xffffffff
/** Digits that a double holds exactly. */
const maxDigits = 15
/** Digits read one by one before the loop, in `parseSampleInto`. */
const unrolledDigits = 5
/** A comma and a minus as what is left of the byte after taking off the digit zero. */
const comma = 0x2c - 0x30
const minus = 0x2d - 0x30

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
    let digit = bytes[i] - 0x30
    const negative = digit === minus
    if (negative) digit = bytes[++i] - 0x30
    if (digit >>> 0 < 10) {
      // Five digits in a row of tests, not a loop: each test then learns for itself how long numbers are, which nearly doubles the speed.
      let value = digit
      digit = bytes[++i] - 0x30
      if (digit >>> 0 < 10) {
        value = value * 10 + digit
        digit = bytes[++i] - 0x30
        if (digit >>> 0 < 10) {
          value = value * 10 + digit
          digit = bytes[++i] - 0x30
          if (digit >>> 0 < 10) {
            value = value * 10 + digit
            digit = bytes[++i] - 0x30
            if (digit >>> 0 < 10) {
              value = value * 10 + digit
              digit = bytes[++i] - 0x30
            }
          }
        }
      }
      if (digit >>> 0 < 10) {
        const restAt = i
        // By way of the array it is a double to the engine, which would else compile anew at the first number beyond 32 bit.
        out[to] = value
        let long = out[to]
        do {
          long = long * 10 + digit
          digit = bytes[++i] - 0x30
        } while (digit >>> 0 < 10)
        if (i - restAt > maxDigits - unrolledDigits) return -1
        // 0 − value and not −value: there is no negative zero among integers.
        out[to] = negative ? 0 - long : long
      } else out[to] = negative ? 0 - value : value
    } else {
      if (negative) return -1
      out[to] = Number.NaN
    }
    if (digit !== comma || i >= end) break
    i++
  }
  const count = to - at + 1 - rowHeadLength
  const seq = out[at + 1]
  const tick = out[at + 2]
  if (!(count >= 0 && seq >= 0 && seq <= maxSeq && tick >= 0 && tick <= maxTick)) return -1
  out[at] = count
  return i
}
