import type { ChannelDeclaration, LineCounts } from '../contract/samples.ts'
import { type BoardLine, type EventLine, type IdentityLine, maxLineBytes } from './boardLine.ts'
import type { BoardSink } from './boardSink.ts'
import { ChannelTable } from './channelTable.ts'
import { badChecksum, findChecksum, isChecksumAt, tailBytes } from './checkLine.ts'
import { parseLine } from './decodeLine.ts'
import { createLineSplitter, type LineSplitter } from './lineSplitter.ts'
import { maxRowLength, parseSampleInto, rowHeadLength } from './parseSample.ts'
import { SampleClock } from './sampleClock.ts'
import { afterRestart, repeatedOrLate, Sequence } from './sequence.ts'

const letterS = 0x53
const comma = 0x2c
const carriageReturn = 0x0d
const lineFeed = 0x0a

/** Most samples of a block. */
export const maxBlockSamples = 1024
/** Rows of 16 channels that take some 20 kB. */
const tileRows = 128
/** So long samples wait for their declarations (contract). */
const waitS = 10
/** Most samples that wait: 10 s at 5 kHz and more, whatever the arrival clock says. */
const maxHeld = 65536
/** A first sample is not taken to be older than this when it arrives. Chosen here, as the limit of jitter. */
const maxFirstDelayS = 2

/** Counters of one decoder: those of the contract, and what else was met. */
export interface BoardCounts extends LineCounts {
  /** Samples that came twice, or too late to be put in order, and were dropped. */
  repeatedSamples: number
  /** Jumps of the board's or the arrival clock by more than 2 s. */
  clockJumps: number
}

/** A decoder of one source's lines: what `createCaptureScanner` feeds and the bridge uses live. */
export interface LineDecoder {
  /** One line `bytes[start, end)` without its LF. */
  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void
  /**
   * For speed, a decoder may read its commonest line at `start` without being told where it ends: it returns the position of the line's end, −1 when
   * it is no such line. Nothing is taken until `takeQuick`, which must follow only when the line does end there.
   */
  tryQuick?(bytes: Uint8Array, start: number): number
  takeQuick?(arrivalS: number): void
  /** Hands the samples gathered so far to the sink. */
  emitBlock(): void
  /** End of the input: what waits is decoded as well as it can be, a line without an end is counted. */
  flush(): void
  readonly counts: LineCounts
}

export interface BoardDecoder extends LineDecoder {
  /** Bytes as they come from the port; samples completed by them are handed on before it returns. */
  push(bytes: Uint8Array, arrivalS: number): void
  readonly counts: BoardCounts
  /** Sample time minus the board's tick time, s; NaN while not known. */
  readonly clockOffsetS: number
}

export interface BoardDecoderOptions {
  /** Number of the source in what is emitted, default 0. */
  source?: number
  emit: BoardSink
}

/**
 * Decodes a board's lines into blocks of columns, events and identity. Values and times do not depend on how the bytes are cut into pushes, as long as
 * each line has the same arrival time. Samples before their declarations wait up to 10 s; without any declaration they are then dropped and counted, with
 * some they are decoded under names after their position; without an identity they get their arrival times. Dirt is counted, nothing throws.
 */
export function createBoardDecoder(options: BoardDecoderOptions): BoardDecoder {
  return new Decoder(options)
}

interface HeldSample {
  /** Number of values, seq, tick, values. */
  row: Float64Array
  arrivalS: number
  announced: number
}

class Decoder implements BoardDecoder {
  readonly #source: number
  readonly #emit: BoardSink
  readonly #splitter: LineSplitter
  readonly #table = new ChannelTable()
  readonly #clock = new SampleClock()
  readonly #sequence = new Sequence()
  readonly #timeS = new Float64Array(maxBlockSamples)
  readonly #counts: BoardCounts = {
    lines: 0,
    samples: 0,
    badChecksum: 0,
    unreadable: 0,
    missingSamples: 0,
    undeclared: 0,
    restarts: 0,
    repeatedSamples: 0,
    clockJumps: 0,
  }
  #identity: IdentityLine | undefined
  /** Samples that wait for `I` or `C`, oldest first. */
  #held: HeldSample[] = []
  #heldFieldCount = 0
  /** True once it is settled how samples get their times: `I` came, or was waited for in vain. */
  #isClockSettled = false
  /** Declaration lines since the last sample if an `I` was among them, see `Sequence.classify`. */
  #announced = 0
  #sawIdentity = false
  #lastArrivalS = 0

  #segment = 0
  #hasSamples = false
  #isLayoutStale = true
  #channels: readonly ChannelDeclaration[] = []
  #columns: Float32Array[] = []
  /** Rows of the block under way as they were sent; the row behind the last is where a line is read into. */
  #rows = new Float64Array(maxRowLength)
  #rowLength = 0
  #count = 0
  /** Values of the shortest sample of the block under way. */
  #leastValues = maxRowLength

  constructor({ source = 0, emit }: BoardDecoderOptions) {
    this.#source = source
    this.#emit = emit
    this.#splitter = createLineSplitter({
      line: (bytes, start, end, arrivalS) => this.line(bytes, start, end, arrivalS),
      quick: (bytes, start, arrivalS) => this.#quick(bytes, start, arrivalS),
    })
  }

  get counts(): BoardCounts {
    const counts = this.#counts
    counts.missingSamples = this.#sequence.missing
    counts.restarts = this.#sequence.restarts
    counts.repeatedSamples = this.#sequence.dropped
    counts.clockJumps = this.#clock.jumps
    return counts
  }

  get clockOffsetS(): number {
    return this.#clock.offsetS
  }

  push(bytes: Uint8Array, arrivalS: number): void {
    this.#splitter.push(bytes, arrivalS)
    this.#lastArrivalS = arrivalS
    this.emitBlock()
  }

  flush(): void {
    this.#splitter.flush(this.#lastArrivalS)
    this.#settle(true)
    this.emitBlock()
  }

  line(bytes: Uint8Array, lineStart: number, lineEnd: number, arrivalS: number): void {
    let start = lineStart
    let end = lineEnd
    while (end > start && bytes[end - 1] === 0x0d) end--
    // A line idle at low level (board being plugged in) reads as NUL bytes before the first line.
    while (start < end && bytes[start] === 0) start++
    if (start === end) return
    this.#counts.lines++
    this.#lastArrivalS = arrivalS
    const starAt = findChecksum(bytes, start, end)
    if (starAt < 0) {
      if (starAt === badChecksum) this.#counts.badChecksum++
      else this.#counts.unreadable++
    } else if (bytes[start] === letterS && bytes[start + 1] === comma) {
      const rowAt = this.#count * this.#rowLength
      if (parseSampleInto(bytes, start + 2, starAt, this.#rows, rowAt) !== starAt) this.#counts.unreadable++
      else this.#sample(arrivalS)
    } else {
      const record = parseLine(bytes, start, starAt)
      if (record === undefined) this.#counts.unreadable++
      else this.#take(record, arrivalS)
    }
    if (this.#held.length > 0) this.#checkWait(arrivalS)
  }

  tryQuick(bytes: Uint8Array, start: number): number {
    if (bytes[start] !== letterS || bytes[start + 1] !== comma) return -1
    const rowAt = this.#count * this.#rowLength
    const lastAt = start + maxLineBytes - tailBytes
    const starAt = parseSampleInto(bytes, start + 2, lastAt, this.#rows, rowAt)
    return starAt >= 0 && starAt <= lastAt && isChecksumAt(bytes, start, starAt) ? starAt + tailBytes : -1
  }

  takeQuick(arrivalS: number): void {
    this.#counts.lines++
    this.#lastArrivalS = arrivalS
    this.#sample(arrivalS)
    if (this.#held.length > 0) this.#checkWait(arrivalS)
  }

  #quick(bytes: Uint8Array, start: number, arrivalS: number): number {
    let end = this.tryQuick(bytes, start)
    if (end < 0) return -1
    if (bytes[end] === carriageReturn) end++
    if (bytes[end] !== lineFeed) return -1
    this.takeQuick(arrivalS)
    return end + 1
  }

  emitBlock(): void {
    if (this.#count === 0) return
    const count = this.#count
    this.#count = 0
    this.#scaleRows(count)
    this.#leastValues = maxRowLength
    this.#emit.block({
      source: this.#source,
      segment: this.#segment,
      channels: this.#channels,
      count,
      timeS: this.#timeS,
      columns: this.#columns,
    })
  }

  #take(record: BoardLine, arrivalS: number): void {
    if (record.kind === 'identity') {
      this.#announced = 1
      this.#sawIdentity = true
      this.#takeIdentity(record)
      this.#settle(false)
    } else if (record.kind === 'channel') {
      if (this.#sawIdentity) this.#announced++
      if (this.#table.declare(record)) this.#isLayoutStale = true
      this.#settle(false)
    } else if (record.kind === 'event') this.#takeEvent(record, arrivalS)
    else if (record.kind === 'answer') {
      this.emitBlock()
      const { command, ok, text } = record
      this.#emit.answer?.({ source: this.#source, timeS: arrivalS, command, ok, text })
    }
  }

  #takeIdentity(line: IdentityLine): void {
    const known = this.#identity
    this.#isClockSettled = true
    if (
      known !== undefined &&
      known.version === line.version &&
      known.boardName === line.boardName &&
      known.firmware === line.firmware &&
      known.uniqueId === line.uniqueId &&
      known.ticksPerSecond === line.ticksPerSecond
    ) {
      return
    }
    this.emitBlock()
    if (known !== undefined && (known.uniqueId !== line.uniqueId || known.firmware !== line.firmware)) {
      // Another board, or another program on it: what the old one declared holds no more.
      this.#table.clear()
      this.#isLayoutStale = true
    }
    this.#identity = line
    this.#clock.setTicksPerSecond(line.ticksPerSecond)
    const { version, boardName, firmware, uniqueId, ticksPerSecond } = line
    this.#emit.identity?.({ source: this.#source, version, boardName, firmware, uniqueId, ticksPerSecond })
  }

  #takeEvent(line: EventLine, arrivalS: number): void {
    this.emitBlock()
    const timeS = this.#clock.timeOf(line.tick, arrivalS)
    this.#emit.event?.({ source: this.#source, timeS, code: line.code, text: line.text })
  }

  /** Takes the sample whose row was just read behind the last one of the block. */
  #sample(arrivalS: number): void {
    const announced = this.#announced
    this.#announced = 0
    this.#sawIdentity = false
    const rowAt = this.#count * this.#rowLength
    const valueCount = this.#rows[rowAt]
    if (this.#held.length > 0 || !this.#isClockSettled || !this.#table.covers(valueCount)) {
      this.#hold({ row: this.#rows.slice(rowAt, rowAt + rowHeadLength + valueCount), arrivalS, announced })
    } else this.#append(rowAt, arrivalS, announced)
  }

  #append(rowAt: number, arrivalS: number, announced: number): void {
    const valueCount = this.#rows[rowAt]
    const seq = this.#rows[rowAt + 1]
    const tick = this.#rows[rowAt + 2]
    const place = this.#sequence.classify(seq, tick, arrivalS, this.#clock.ticksPerSecond, announced)
    if (place === repeatedOrLate) return
    if (place === afterRestart) {
      this.#clock.restart()
      this.#isLayoutStale = true
    }
    if (this.#isLayoutStale) {
      const row = this.#rows.slice(rowAt, rowAt + rowHeadLength + valueCount)
      this.#startSegment()
      this.#rows.set(row)
    }
    if (valueCount < this.#leastValues) this.#leastValues = valueCount
    this.#clock.stampInto(this.#timeS, this.#count, tick, arrivalS)
    this.#counts.samples++
    this.#count++
    if (this.#count === maxBlockSamples) this.emitBlock()
  }

  #startSegment(): void {
    this.emitBlock()
    this.#isLayoutStale = false
    if (this.#hasSamples) this.#segment++
    this.#hasSamples = true
    this.#channels = Object.freeze(this.#table.list())
    this.#columns = this.#channels.map(() => new Float32Array(maxBlockSamples))
    this.#rowLength = rowHeadLength + (this.#channels.at(-1)?.index ?? -1) + 1
    this.#rows = new Float64Array(maxBlockSamples * this.#rowLength + maxRowLength)
  }

  /** Rows of integers to columns in the declared units: column after column, over as many rows at a time as stay in the nearest cache. */
  #scaleRows(count: number): void {
    for (let from = 0; from < count; from += tileRows) {
      const to = Math.min(count, from + tileRows)
      for (let i = 0; i < this.#columns.length; i++) this.#scaleColumn(i, from, to)
    }
  }

  #scaleColumn(at: number, from: number, to: number): void {
    const rows = this.#rows
    const rowLength = this.#rowLength
    const column = this.#columns[at]
    const { index, scale, offset } = this.#channels[at]
    const valueAt = rowHeadLength + index
    let rowAt = from * rowLength
    if (index < this.#leastValues) {
      for (let row = from; row < to; row++) {
        column[row] = rows[rowAt + valueAt] * scale + offset
        rowAt += rowLength
      }
      return
    }
    for (let row = from; row < to; row++) {
      column[row] = index < rows[rowAt] ? rows[rowAt + valueAt] * scale + offset : Number.NaN
      rowAt += rowLength
    }
  }

  #hold(sample: HeldSample): void {
    if (this.#held.length === maxHeld) {
      this.#held.shift()
      this.#counts.undeclared++
    }
    this.#held.push(sample)
    if (sample.row[0] > this.#heldFieldCount) this.#heldFieldCount = sample.row[0]
  }

  #checkWait(arrivalS: number): void {
    if (!(arrivalS - this.#held[0].arrivalS > waitS)) return
    if (!this.#table.isEmpty) {
      this.#settle(true)
      return
    }
    let old = 1
    while (old < this.#held.length && arrivalS - this.#held[old].arrivalS > waitS) old++
    this.#held.splice(0, old)
    this.#counts.undeclared += old
  }

  /** Decodes what waits if it can be now, or if it shall be whatever is missing. */
  #settle(isForced: boolean): void {
    if (this.#held.length === 0) return
    if (!this.#isClockSettled || !this.#table.covers(this.#heldFieldCount)) {
      if (!isForced) return
      if (this.#table.isEmpty && this.#heldFieldCount > 0) {
        this.#counts.undeclared += this.#held.length
        this.#clearHeld()
        return
      }
      if (!this.#table.covers(this.#heldFieldCount)) {
        this.#table.fill(this.#heldFieldCount)
        this.#isLayoutStale = true
      }
      this.#isClockSettled = true
    }
    const held = this.#held
    this.#clearHeld()
    if (!this.#hasSamples) this.#anchorAt(held)
    for (const { row, arrivalS, announced } of held) {
      const rowAt = this.#count * this.#rowLength
      this.#rows.set(row, rowAt)
      this.#append(rowAt, arrivalS, announced)
    }
  }

  #clearHeld(): void {
    this.#held = []
    this.#heldFieldCount = 0
  }

  /** The waiting samples show already how late the first one was. */
  #anchorAt(held: readonly HeldSample[]): void {
    if (!this.#clock.hasTicks) return
    const first = held[0]
    let laterS = 0
    let ticks = 0
    let lastTick = first.row[2]
    for (const { row, arrivalS } of held) {
      const step = (row[2] - lastTick) | 0
      if (step < 0) break
      ticks += step
      lastTick = row[2]
      const leadS = ticks / this.#clock.ticksPerSecond - (arrivalS - first.arrivalS)
      if (leadS > laterS && leadS < maxFirstDelayS) laterS = leadS
    }
    this.#clock.anchor(first.row[2], first.arrivalS, laterS)
  }
}
