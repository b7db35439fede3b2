import { maxLineBytes } from '../core/line/boardLine.ts'
import { crc16Range } from '../core/line/crc16.ts'

const digit0 = 48
const comma = 44
const minus = 45
const star = 42
const letterS = 83
const hexDigits = new Uint8Array([48, 49, 50, 51, 52, 53, 54, 55, 56, 57, 65, 66, 67, 68, 69, 70])

/** One line of the board, built in place: sample fields are written digit by digit, since millions of them are. */
export class BoardLine {
  readonly bytes = new Uint8Array(2 * maxLineBytes)
  /** Length with checksum, without the line end. */
  length = 0

  /** Starts a sample line. */
  beginSample(): void {
    this.bytes[0] = letterS
    this.length = 1
  }

  /** Adds a whole number; NaN leaves the field empty. */
  integer(value: number): void {
    const { bytes } = this
    let at = this.length
    bytes[at++] = comma
    if (Number.isNaN(value)) {
      this.length = at
      return
    }
    let rest = value
    if (rest < 0) {
      bytes[at++] = minus
      rest = -rest
    }
    let count = 1
    for (let power = 10; rest >= power; power *= 10) count++
    at += count
    let place = at
    if (rest < 0x7fffffff) {
      let small = rest | 0
      for (let i = 0; i < count; i++) {
        const next = (small / 10) | 0
        bytes[--place] = digit0 + small - next * 10
        small = next
      }
    } else {
      for (let i = 0; i < count; i++) {
        const next = Math.floor(rest / 10)
        bytes[--place] = digit0 + rest - next * 10
        rest = next
      }
    }
    this.length = at
  }

  /** Adds `*` and the checksum. */
  end(): void {
    const { bytes, length } = this
    const crc = crc16Range(bytes, 0, length)
    bytes[length] = star
    bytes[length + 1] = hexDigits[crc >> 12]
    bytes[length + 2] = hexDigits[(crc >> 8) & 15]
    bytes[length + 3] = hexDigits[(crc >> 4) & 15]
    bytes[length + 4] = hexDigits[crc & 15]
    this.length = length + 5
  }

  /** Takes a line that was encoded elsewhere. */
  set(text: string): void {
    for (let i = 0; i < text.length; i++) this.bytes[i] = text.charCodeAt(i)
    this.length = text.length
  }
}
