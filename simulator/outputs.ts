/** Takes what the simulated car says: board lines, positions, and the records that a recorder would add. */
export interface LineSink {
  /** A line without its end from source 0 (board) or 1 (position receiver); `bytes` is only valid during the call. */
  line(timeS: number, source: number, bytes: Uint8Array, length: number): void
  /** A JSON record of the run. */
  record(timeS: number, record: Record<string, unknown>): void
}

/** Bytes that grow: doubles, never copies more than it must. */
export class ByteBuffer {
  bytes: Uint8Array
  length = 0

  constructor(capacity: number) {
    this.bytes = new Uint8Array(Math.max(capacity, 1024))
  }

  /** Makes room for so many more bytes. */
  reserve(more: number): void {
    if (this.length + more <= this.bytes.length) return
    let size = this.bytes.length
    while (size < this.length + more) size *= 2
    const next = new Uint8Array(size)
    next.set(this.bytes.subarray(0, this.length))
    this.bytes = next
  }

  text(value: string): void {
    const encoded = new TextEncoder().encode(value)
    this.reserve(encoded.length)
    this.bytes.set(encoded, this.length)
    this.length += encoded.length
  }

  /** The bytes so far, as a copy of their own, and starts anew. */
  take(): Uint8Array {
    const out = this.bytes.slice(0, this.length)
    this.length = 0
    return out
  }
}

/** Raw board bytes, lines ended by LF: what comes out of a serial port. */
export class WireSink implements LineSink {
  readonly buffer = new ByteBuffer(1 << 16)

  line(_timeS: number, source: number, bytes: Uint8Array, length: number): void {
    if (source !== 0) return
    const { buffer } = this
    buffer.reserve(length + 1)
    const out = buffer.bytes
    let at = buffer.length
    for (let i = 0; i < length; i++) out[at++] = bytes[i]
    out[at++] = 10
    buffer.length = at
  }

  record(): void {}
}

/** A capture file, version 1. */
export class CaptureSink implements LineSink {
  readonly buffer: ByteBuffer
  private lastS = 0

  constructor(capacity: number) {
    this.buffer = new ByteBuffer(capacity)
    this.buffer.text('floatbowl-capture 1\n')
  }

  /** Times never go back: a mark made now stands behind a line that is still on the wire. */
  private time(wantedS: number): void {
    const timeS = Math.max(wantedS, this.lastS)
    this.lastS = timeS
    const out = this.buffer.bytes
    let at = this.buffer.length
    let micros = Math.round(timeS * 1e6)
    if (micros < 0) {
      out[at++] = 45
      micros = -micros
    }
    const seconds = Math.floor(micros / 1e6)
    let fraction = micros - seconds * 1e6
    let count = 1
    for (let power = 10; seconds >= power; power *= 10) count++
    let rest = seconds
    for (let i = count - 1; i >= 0; i--) {
      const next = (rest / 10) | 0
      out[at + i] = 48 + rest - next * 10
      rest = next
    }
    at += count
    out[at] = 46
    for (let i = 6; i >= 1; i--) {
      const next = (fraction / 10) | 0
      out[at + i] = 48 + fraction - next * 10
      fraction = next
    }
    this.buffer.length = at + 7
  }

  line(timeS: number, source: number, bytes: Uint8Array, length: number): void {
    const { buffer } = this
    // A damaged byte may need four characters.
    buffer.reserve(length * 4 + 40)
    this.time(timeS)
    const out = buffer.bytes
    let at = buffer.length
    out[at++] = 32
    out[at++] = 60
    out[at++] = 48 + source
    out[at++] = 32
    for (let i = 0; i < length; i++) {
      const byte = bytes[i]
      if (byte > 31 && byte < 127 && byte !== 92) out[at++] = byte
      else if (byte === 92) {
        out[at++] = 92
        out[at++] = 92
      } else {
        out[at++] = 92
        out[at++] = 120
        out[at++] = byte >> 4 < 10 ? 48 + (byte >> 4) : 55 + (byte >> 4)
        out[at++] = (byte & 15) < 10 ? 48 + (byte & 15) : 55 + (byte & 15)
      }
    }
    out[at++] = 10
    buffer.length = at
  }

  record(timeS: number, record: Record<string, unknown>): void {
    this.buffer.reserve(64)
    this.time(timeS)
    this.buffer.text(` = ${JSON.stringify(record)}\n`)
  }
}
