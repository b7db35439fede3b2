import type { LineCounts } from '../contract/samples.ts'
import { canBeHeader, checkHeader, emptyFile, isTornHeader, notACapture } from './captureHeader.ts'
import {
  bridgeNotice,
  type CaptureLineParts,
  fromSource,
  jsonRecord,
  parseCaptureLine,
  toSource,
} from './captureLine.ts'
import { checkRecord, parseJsonObject } from './captureRecord.ts'
import type { CaptureSink } from './captureSink.ts'
import { unescapeInto } from './escape.ts'
import { readAsOf } from './readAs.ts'
import { boardOnly, type ChooseDecoder, RunDecoders } from './runDecoders.ts'

/** Longest line: a whole car profile as JSON fits many times over; what is longer is damage. */
const maxCaptureLineBytes = 1 << 20
/** With so much at hand a board's line after its time is whole, or longer than it may be. */
const quickMarginBytes = 300
const lineFeed = 0x0a
const backslash = 0x5c

/** What a capture's own lines were like, beside the board's. */
export interface CaptureCounts {
  /** Whole lines after the header. */
  lines: number
  /** Lines that are none of the format (damage on the disk, an editor's traces); the rest is read. */
  corruptLines: number
  /** Records and notices that are no JSON object or do not fit their schema. */
  invalidRecords: number
  /** The first corrupt line or invalid record: number of the line in the file from 1, and what is wrong. */
  firstProblem?: { lineNumber: number; text: string }
}

export interface CaptureEnd {
  /** The last line had no end and was dropped. */
  tornEnd: boolean
  /** Counters of the board's lines (source 0). */
  counts: LineCounts
  capture: CaptureCounts
  /** Time of the first and of the latest line, NaN without any. A time from which the next line goes back is a damaged one, and is not taken. */
  startS: number
  endS: number
}

export interface CaptureScanner {
  /**
   * The next bytes of the file, cut anywhere.
   * @throws CaptureError when the file is no capture that can be read
   */
  push(bytes: Uint8Array): void
  /**
   * End of the file.
   * @throws CaptureError when there was no byte at all
   */
  end(): CaptureEnd
}

export interface CaptureScannerOptions {
  emit: CaptureSink
  /**
   * Default: the board's format for source 0, none for others; lines that are not decoded go to `emit.line`. Asked again when a `read_as` notice says that a
   * source is read differently from then on; the notice takes the place of its entry.
   */
  decoderOf?: ChooseDecoder
}

/**
 * Reads a capture file as it comes: samples, records, notices and lines go to the sink in the order of the file, whatever the cutting. Arrival of a
 * line is its time in the file. Corrupt lines are counted and the rest is read. Packed files must be unpacked by the caller.
 */
export function createCaptureScanner(options: CaptureScannerOptions): CaptureScanner {
  return new Scanner(options)
}

class Scanner implements CaptureScanner {
  readonly #emit: CaptureSink
  readonly #decoders: RunDecoders
  readonly #parts: CaptureLineParts = { timeS: 0, kind: 0, source: 0, payloadAt: 0 }
  readonly #counts: CaptureCounts = { lines: 0, corruptLines: 0, invalidRecords: 0 }
  /** Bytes of a line whose end has not come. */
  #carry = new Uint8Array(4096)
  #carried = 0
  /** The line under way is over-long: passed over up to its LF. */
  #isSkipping = false
  #hasHeader = false
  #plain = new Uint8Array(512)
  #startS = Number.NaN
  #endS = Number.NEGATIVE_INFINITY
  #seenS = Number.NaN

  constructor({ emit, decoderOf = boardOnly }: CaptureScannerOptions) {
    this.#emit = emit
    this.#decoders = new RunDecoders(emit, decoderOf)
  }

  push(bytes: Uint8Array): void {
    let start = 0
    let nextBackslash = -1
    while (start < bytes.length) {
      if (this.#carried === 0 && bytes.length - start > quickMarginBytes) {
        const next = this.#quick(bytes, start)
        if (next > 0) {
          start = next
          continue
        }
      }
      const lf = bytes.indexOf(lineFeed, start)
      if (lf < 0) {
        this.#keep(bytes, start, bytes.length)
        break
      }
      if (this.#carried > 0 || this.#isSkipping) {
        this.#keep(bytes, start, lf + 1)
        const length = this.#carried
        this.#carried = 0
        if (this.#isSkipping) {
          this.#isSkipping = false
          this.#counts.lines++
          this.#corrupt(`longer than ${maxCaptureLineBytes} bytes`)
        } else this.#line(this.#carry, 0, length - 1, true)
      } else {
        // One search serves all lines up to the backslash found.
        if (nextBackslash < start) {
          const at = bytes.indexOf(backslash, start)
          nextBackslash = at < 0 ? bytes.length : at
        }
        this.#line(bytes, start, lf, nextBackslash < lf)
      }
      start = lf + 1
    }
    this.#decoders.emitBlocks()
  }

  /** A board's sample, the commonest line by far, without searching for its end first; −1 if it is anything else. */
  #quick(bytes: Uint8Array, start: number): number {
    const decoder = this.#decoders.quick
    if (!decoder || this.#isSkipping) return -1
    const parts = this.#parts
    if (
      !parseCaptureLine(bytes, start, bytes.length, parts) ||
      parts.kind !== fromSource ||
      parts.source !== 0
    ) {
      return -1
    }
    let end = decoder.tryQuick!(bytes, parts.payloadAt)
    if (end < 0) return -1
    if (isEscapedReturn(bytes, end)) end += 4
    if (bytes[end] !== lineFeed) return -1
    this.#counts.lines++
    this.#see(parts.timeS)
    this.#decoders.turnTo(0)
    decoder.takeQuick!(parts.timeS)
    return end + 1
  }

  end(): CaptureEnd {
    if (!this.#hasHeader) {
      const begun = this.#carry.subarray(0, this.#carried)
      if (begun.length === 0) throw emptyFile()
      if (!isTornHeader(begun)) throw notACapture(begun)
    }
    const tornEnd = this.#carried > 0 || this.#isSkipping
    const counts = this.#decoders.flush()
    return {
      tornEnd,
      counts,
      capture: { ...this.#counts },
      startS: this.#startS,
      endS: Math.max(this.#endS, this.#seenS),
    }
  }

  #keep(bytes: Uint8Array, start: number, end: number): void {
    if (this.#isSkipping) return
    const length = this.#carried + end - start
    if (length > maxCaptureLineBytes) {
      this.#isSkipping = true
      this.#carried = 0
      return
    }
    if (length > this.#carry.length) {
      const larger = new Uint8Array(Math.max(length, this.#carry.length * 2))
      larger.set(this.#carry.subarray(0, this.#carried))
      this.#carry = larger
    }
    this.#carry.set(bytes.subarray(start, end), this.#carried)
    this.#carried = length
    if (!this.#hasHeader && !canBeHeader(this.#carry.subarray(0, length))) {
      throw notACapture(this.#carry.subarray(0, length))
    }
  }

  /** One line without its LF, which stands at `bytes[end]`. */
  #line(bytes: Uint8Array, start: number, end: number, mayBeEscaped: boolean): void {
    if (!this.#hasHeader) {
      checkHeader(bytes.subarray(start, end))
      this.#hasHeader = true
      return
    }
    this.#counts.lines++
    const parts = this.#parts
    if (!parseCaptureLine(bytes, start, end, parts)) {
      this.#corrupt('no time and kind at its start')
      return
    }
    const { timeS, kind, payloadAt } = parts
    this.#see(timeS)
    if (kind === fromSource) {
      if (mayBeEscaped && bytes.subarray(payloadAt, end).includes(backslash)) {
        const length = this.#unescape(bytes, payloadAt, end)
        this.#fromSource(this.#plain, 0, length, parts.source, timeS)
      } else this.#fromSource(bytes, payloadAt, end, parts.source, timeS)
      return
    }
    this.#decoders.emitBlocks()
    const length = this.#unescape(bytes, payloadAt, end)
    const payload = this.#plain.subarray(0, length)
    if (kind === toSource) this.#emit.sent?.(parts.source, timeS, byteText(payload, 0, length))
    else if (kind === jsonRecord) this.#record(timeS, payload)
    else if (kind === bridgeNotice) this.#notice(timeS, payload)
  }

  #see(timeS: number): void {
    if (Number.isNaN(this.#startS)) this.#startS = timeS
    const surelyS = Math.min(timeS, this.#seenS)
    if (surelyS > this.#endS) this.#endS = surelyS
    this.#seenS = timeS
  }

  #fromSource(bytes: Uint8Array, start: number, end: number, source: number, timeS: number): void {
    const decoder = this.#decoders.turnTo(source)
    if (decoder) decoder.line(bytes, start, end, timeS)
    else this.#emit.line?.(source, timeS, byteText(bytes, start, end))
  }

  #record(timeS: number, payload: Uint8Array): void {
    const value = parseJsonObject(payload)
    const record = typeof value === 'string' ? value : checkRecord(value)
    if (typeof record === 'string') {
      this.#invalid(record)
      return
    }
    if (record.type === 'start' && Array.isArray(record.sources)) this.#decoders.sources = record.sources
    this.#emit.record?.({ timeS, record })
  }

  #notice(timeS: number, payload: Uint8Array): void {
    const notice = parseJsonObject(payload)
    if (typeof notice === 'string') {
      this.#invalid(notice)
      return
    }
    const entry = readAsOf(notice)
    if (entry) this.#decoders.readAs(entry)
    this.#emit.notice?.({ timeS, notice })
  }

  #unescape(bytes: Uint8Array, start: number, end: number): number {
    if (end - start > this.#plain.length) this.#plain = new Uint8Array((end - start) * 2)
    return unescapeInto(bytes, start, end, this.#plain)
  }

  #corrupt(text: string): void {
    this.#counts.corruptLines++
    this.#note(text)
  }

  #invalid(text: string): void {
    this.#counts.invalidRecords++
    this.#note(text)
  }

  #note(text: string): void {
    // The header is the file's first line.
    this.#counts.firstProblem ??= { lineNumber: this.#counts.lines + 1, text }
  }
}

/** `\x0d`: the CR of a board that ends its lines with CR LF. */
function isEscapedReturn(bytes: Uint8Array, at: number): boolean {
  return (
    bytes[at] === backslash &&
    bytes[at + 1] === 0x78 &&
    bytes[at + 2] === 0x30 &&
    (bytes[at + 3] | 0x20) === 0x64
  )
}

function byteText(bytes: Uint8Array, start: number, end: number): string {
  let text = ''
  for (let i = start; i < end; i++) text += String.fromCharCode(bytes[i])
  return text
}
