import type { ChannelDeclaration, SampleBlock } from '../contract/samples.ts'
import type { BoardSink } from './boardSink.ts'
import { createLineFieldReader, stripLineChecksum } from './lineFields.ts'
import { type LineMap, type MappedChannel, maxMapLineBytes } from './lineMap.ts'
import { type LineMapCounts, misfitOf, noMappedLines, shownCharacters } from './lineMapCounts.ts'
import { createDayUnwrapper, parseFieldNumber, parseLineTime } from './lineTime.ts'
import { createLineTransfer } from './lineTransfer.ts'
import { createRisingClock } from './risingClock.ts'
import { SampleClock } from './sampleClock.ts'
import { maxBlockSamples } from './sampleRows.ts'
import { utf8Bytes, utf8Text } from './utf8.ts'
import { createWholeLines } from './wholeLines.ts'

/** Resolution of a mapped clock when it is laid on the arrival clock. */
const ticksPerSecond = 1e6
export interface LineMapReader {
  /** Bytes as they come, cut anywhere. */
  push(bytes: Uint8Array, arrivalS: number): void
  /** One line `bytes[start, end)` without its LF. */
  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void
  /** One line as text. */
  text(line: string, arrivalS: number): void
  /** Hands the samples gathered so far to the sink. */
  emitBlock(): void
  /** End of the input: a last line without an LF is read. */
  flush(): void
  /** The channels that blocks will have. */
  readonly channels: readonly ChannelDeclaration[]
  readonly counts: LineMapCounts
  /** What the source's clock said at the first sample, s from its own origin; NaN before, and without a clock. */
  readonly firstClockS: number
}

export interface LineMapReaderOptions {
  /** Number of the source in what is emitted, default 0. */
  source?: number
  emit: Pick<BoardSink, 'block'>
  /**
   * `arrival` (default): samples lie on the arrival clock, spaced by the source's own clock or rate. `file`: times are the source's own, from 0 at the
   * first sample; arrivals are ignored.
   */
  timing?: 'arrival' | 'file'
  /** Each sample in full precision, before it is laid into a block; `values` by channel, reused. */
  row?(timeS: number, values: Float64Array): void
}

/**
 * Reads the lines of any source after a map into blocks as the board's decoder gives them, values in the mapped units with scale 1. Dirt is counted,
 * nothing throws; the first line that does not fit is kept with the reason.
 * @throws RangeError for timing `file` with neither clock nor rate, and for a transfer that cannot be
 */
export function createLineMapReader(map: LineMap, options: LineMapReaderOptions): LineMapReader {
  if (options.timing === 'file' && map.clock === undefined && map.rate_hz === undefined) {
    throw new RangeError('line map: a file needs a clock or rate_hz, found neither')
  }
  return new Reader(map, options)
}

/** Text of a line: at once when all of it is ASCII, as nearly always. */
function lineText(bytes: Uint8Array, start: number, end: number): string {
  for (let i = start; i < end; i++) if (bytes[i] >= 0x80) return utf8Text(bytes, start, end)
  return String.fromCharCode.apply(null, bytes.subarray(start, end) as unknown as number[])
}

class Reader implements LineMapReader {
  readonly channels: readonly ChannelDeclaration[]
  readonly counts: LineMapCounts
  firstClockS = Number.NaN
  readonly #map: LineMap
  readonly #emit: Pick<BoardSink, 'block'>
  readonly #source: number
  readonly #isFile: boolean
  readonly #onRow: LineMapReaderOptions['row']
  readonly #fields: ReturnType<typeof createLineFieldReader>
  readonly #transfers: ((value: number) => number)[]
  readonly #missing: ReadonlySet<string>
  readonly #unwrap: (timeS: number) => number
  readonly #clock = new SampleClock()
  readonly #timeS = new Float64Array(maxBlockSamples)
  readonly #columns: Float32Array[]
  readonly #row: Float64Array
  #count = 0
  #skip: number
  #samplesSoFar = 0
  /** Own clock of the last sample, s. */
  #lastOwnS = Number.NaN
  readonly #fileClock = createRisingClock()
  readonly #lines = createWholeLines({
    longestBytes: maxMapLineBytes,
    line: (bytes, start, end, arrivalS) => this.line(bytes, start, end, arrivalS),
    overlong: (bytes, start, end) => this.#overlong(bytes, start, end),
  })

  constructor(map: LineMap, { source = 0, emit, timing = 'arrival', row }: LineMapReaderOptions) {
    this.#map = map
    this.#emit = emit
    this.#source = source
    this.#isFile = timing === 'file'
    this.#onRow = row
    const wanted = map.channels.map((channel) => channel.field)
    this.#fields = createLineFieldReader(map, map.clock ? [...wanted, map.clock.field] : wanted)
    this.#transfers = map.channels.map((channel) => createLineTransfer(channel.transfer))
    this.#missing = new Set(['', ...map.missing])
    this.#unwrap = createDayUnwrapper(map.clock?.format ?? 'seconds')
    this.#clock.setTicksPerSecond(map.clock || map.rate_hz ? ticksPerSecond : 0)
    this.#skip = map.skip_lines
    this.#columns = map.channels.map(() => new Float32Array(maxBlockSamples))
    this.#row = new Float64Array(map.channels.length)
    this.channels = map.channels.map(({ channel, unit }, index) => ({
      index,
      name: channel,
      unit,
      scale: 1,
      offset: 0,
    }))
    this.counts = noMappedLines(map.channels.length)
  }

  push(bytes: Uint8Array, arrivalS: number): void {
    this.#lines.push(bytes, arrivalS)
    this.emitBlock()
  }

  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void {
    if (end - start > maxMapLineBytes) {
      this.#overlong(bytes, start, end)
      return
    }
    const { checksum } = this.#map
    if (checksum === undefined) {
      this.#read(lineText(bytes, start, end), arrivalS)
      return
    }
    // A checksum is over bytes, so the line is first looked at as bytes.
    let raw = ''
    for (let i = start; i < end; i++) raw += String.fromCharCode(bytes[i])
    if (raw.endsWith('\r')) raw = raw.slice(0, -1)
    if (this.#passesOver(raw)) return
    const body = stripLineChecksum(raw, checksum)
    if (body === undefined) {
      this.counts.badChecksum++
      this.#remember(raw, 'the checksum does not match')
      return
    }
    const bodyBytes = Uint8Array.from(body, (character) => character.charCodeAt(0))
    this.#take(utf8Text(bodyBytes, 0, bodyBytes.length), arrivalS)
  }

  text(line: string, arrivalS: number): void {
    const bytes = utf8Bytes(line)
    this.line(bytes, 0, bytes.length, arrivalS)
  }

  emitBlock(): void {
    if (this.#count === 0) return
    const count = this.#count
    this.#count = 0
    const block: SampleBlock = {
      source: this.#source,
      segment: 0,
      channels: this.channels,
      count,
      timeS: this.#timeS,
      columns: this.#columns,
    }
    this.#emit.block(block)
  }

  flush(): void {
    this.#lines.flush()
    this.emitBlock()
  }

  #read(line: string, arrivalS: number): void {
    // A byte order mark may begin a file.
    let text = this.counts.lines === 0 && line.startsWith('\ufeff') ? line.slice(1) : line
    if (text.endsWith('\r')) text = text.slice(0, -1)
    if (!this.#passesOver(text)) this.#take(text, arrivalS)
  }

  /** Counts the line, and tells whether the map passes it over unread. */
  #passesOver(text: string): boolean {
    this.counts.lines++
    const isPassedOver =
      this.#skip > 0 || text.trim() === '' || this.#map.comments.some((mark) => text.startsWith(mark))
    if (this.#skip > 0) this.#skip--
    if (isPassedOver) this.counts.passedOver++
    return isPassedOver
  }

  #take(text: string, arrivalS: number): void {
    const split = this.#fields(text)
    if (split.kind === 'header') {
      this.counts.headers++
      this.counts.passedOver++
      this.#skip = this.#map.skip_after_header
      return
    }
    const reason = split.kind === 'misfit' ? split.reason : this.#parseRow(split.values)
    if (reason !== undefined) {
      this.counts.unreadable++
      this.#remember(text, reason)
      return
    }
    let ownS = Number.NaN
    if (this.#map.clock && split.kind === 'fields') {
      const said = split.values[split.values.length - 1]
      ownS = this.#unwrap(parseLineTime(said, this.#map.clock.format, this.#map.decimal))
      if (Number.isNaN(ownS)) {
        this.counts.unreadable++
        this.#remember(text, `"${said}" is no time of the format ${this.#map.clock.format}`)
        return
      }
    } else if (this.#map.rate_hz) ownS = this.#samplesSoFar / this.#map.rate_hz
    if (this.#samplesSoFar++ === 0 && this.#map.clock) this.firstClockS = ownS
    this.#store(text, ownS, arrivalS)
  }

  /** Writes the row; returns what is wrong with it. */
  #parseRow(values: readonly string[]): string | undefined {
    const { channels, decimal } = this.#map
    for (let i = 0; i < channels.length; i++) {
      const said = values[i]
      if (this.#missing.has(said)) {
        this.#row[i] = Number.NaN
        continue
      }
      const number = parseFieldNumber(said, decimal)
      if (Number.isNaN(number)) return `field ${JSON.stringify(channels[i].field)} is no number: "${said}"`
      this.#row[i] = this.#transfers[i](number)
    }
    return undefined
  }

  #store(text: string, ownS: number, arrivalS: number): void {
    const at = this.#count
    if (this.#isFile) this.#timeS[at] = this.#fileTime(ownS)
    else {
      this.#followClock(ownS)
      this.#clock.stampInto(this.#timeS, at, Math.round(ownS * ticksPerSecond) >>> 0, arrivalS)
    }
    for (let i = 0; i < this.#columns.length; i++) {
      const range = this.#map.channels[i].range
      let value = this.#row[i]
      if (range !== undefined && (value < range[0] || value > range[1])) {
        this.counts.outOfRange[i]++
        this.counts.firstOutOfRange ??= misfitOf(
          this.counts,
          text,
          outOfRangeText(this.#map.channels[i], value),
        )
        value = Number.NaN
        this.#row[i] = value
      }
      this.#columns[i][at] = value
    }
    this.#onRow?.(this.#timeS[at], this.#row)
    this.counts.samples++
    this.counts.fitting++
    if (++this.#count === maxBlockSamples) this.emitBlock()
  }

  /** A source whose clock went back has started again. */
  #followClock(ownS: number): void {
    if (ownS < this.#lastOwnS) {
      this.counts.clockJumps++
      this.#clock.restart()
    }
    this.#lastOwnS = ownS
  }

  #fileTime(ownS: number): number {
    const timeS = this.#fileClock.lay(ownS)
    this.counts.clockJumps = this.#fileClock.jumps
    return timeS
  }

  #overlong(bytes: Uint8Array, start: number, end: number): void {
    this.counts.lines++
    this.counts.unreadable++
    const shown = utf8Text(bytes, start, Math.min(end, start + shownCharacters))
    this.#remember(shown, `longer than ${maxMapLineBytes} bytes`)
  }

  #remember(text: string, reason: string): void {
    this.counts.firstMisfit ??= misfitOf(this.counts, text, reason)
  }
}

function outOfRangeText({ channel, unit, range }: MappedChannel, value: number): string {
  return `${channel} is ${value} ${unit}, believable are ${range![0]} to ${range![1]}`
}
