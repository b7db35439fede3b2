import type { LineCounts } from '../contract/samples.ts'
import { type BoardLine, type EventLine, type IdentityLine, maxLineBytes } from './boardLine.ts'
import type { BoardSink } from './boardSink.ts'
import { ChannelTable } from './channelTable.ts'
import { badChecksum, findChecksum, isChecksumAt, tailBytes } from './checkLine.ts'
import { parseLine } from './decodeLine.ts'
import { HeldSamples, lateness } from './heldSamples.ts'
import { noLines } from './lineCounts.ts'
import type { LineDecoder } from './lineDecoder.ts'
import { createLineSplitter, type LineSplitter } from './lineSplitter.ts'
import { parseSampleInto } from './parseSample.ts'
import { SampleClock } from './sampleClock.ts'
import { maxBlockSamples, SampleRows } from './sampleRows.ts'
import { afterRestart, repeatedOrLate, Sequence } from './sequence.ts'

const letterS = 0x53
const comma = 0x2c
const carriageReturn = 0x0d
const lineFeed = 0x0a

/** Counters of one decoder: those of the contract, and what else was met. */
export interface BoardCounts extends LineCounts {
  /** Samples that came twice, or too late to be put in order, and were dropped. */
  repeatedSamples: number
  /** Jumps of the board's or the arrival clock by more than 2 s. */
  clockJumps: number
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

class Decoder implements BoardDecoder {
  readonly #source: number
  readonly #emit: BoardSink
  readonly #splitter: LineSplitter
  readonly #table = new ChannelTable()
  readonly #clock = new SampleClock()
  readonly #sequence = new Sequence()
  readonly #rows = new SampleRows()
  readonly #held = new HeldSamples()
  readonly #counts: BoardCounts = {
    ...noLines(),
    repeatedSamples: 0,
    clockJumps: 0,
  }
  #identity: IdentityLine | undefined
  /** True once it is settled how samples get their times: `I` came, or was waited for in vain. */
  #isClockSettled = false
  /** Declaration lines since the last sample if an `I` was among them, see `Sequence.classify`. */
  #announced = 0
  #sawIdentity = false
  #lastArrivalS = 0

  #segment = 0
  #hasSamples = false
  #isLayoutStale = true

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
      const { values, nextAt } = this.#rows
      if (parseSampleInto(bytes, start + 2, starAt, values, nextAt) !== starAt) this.#counts.unreadable++
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
    const lastAt = start + maxLineBytes - tailBytes
    const starAt = parseSampleInto(bytes, start + 2, lastAt, this.#rows.values, this.#rows.nextAt)
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
    const rows = this.#rows
    if (rows.count === 0) return
    const count = rows.toColumns()
    this.#emit.block({
      source: this.#source,
      segment: this.#segment,
      channels: rows.channels,
      count,
      timeS: rows.timeS,
      columns: rows.columns,
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
    const rows = this.#rows
    if (this.#held.length > 0 || !this.#isClockSettled || !this.#table.covers(rows.values[rows.nextAt])) {
      this.#counts.undeclared += this.#held.add({ row: rows.copyNext(), arrivalS, announced })
    } else this.#append(arrivalS, announced)
  }

  #append(arrivalS: number, announced: number): void {
    const rows = this.#rows
    const { values, nextAt } = rows
    const tick = values[nextAt + 2]
    const seq = values[nextAt + 1]
    const place = this.#sequence.classify(seq, tick, arrivalS, this.#clock.ticksPerSecond, announced)
    if (place === repeatedOrLate) return
    if (place === afterRestart) {
      this.#clock.restart()
      this.#isLayoutStale = true
    }
    if (this.#isLayoutStale) this.#startSegment()
    this.#clock.stampInto(rows.timeS, rows.count, tick, arrivalS)
    rows.keep()
    this.#counts.samples++
    if (rows.count === maxBlockSamples) this.emitBlock()
  }

  #startSegment(): void {
    const row = this.#rows.copyNext()
    this.emitBlock()
    this.#isLayoutStale = false
    if (this.#hasSamples) this.#segment++
    this.#hasSamples = true
    this.#rows.layOut(Object.freeze(this.#table.list()), row)
  }

  #checkWait(arrivalS: number): void {
    if (!this.#held.isOverdue(arrivalS)) return
    if (this.#table.isEmpty) this.#counts.undeclared += this.#held.dropOverdue(arrivalS)
    else this.#settle(true)
  }

  /** Decodes what waits if it can be now, or if it shall be whatever is missing. */
  #settle(isForced: boolean): void {
    if (this.#held.length === 0) return
    const { valueCount } = this.#held
    if (!this.#isClockSettled || !this.#table.covers(valueCount)) {
      if (!isForced) return
      if (this.#table.isEmpty && valueCount > 0) {
        this.#counts.undeclared += this.#held.take().length
        return
      }
      if (!this.#table.covers(valueCount)) {
        this.#table.fill(valueCount)
        this.#isLayoutStale = true
      }
      this.#isClockSettled = true
    }
    const held = this.#held.take()
    // The waiting samples show already how late the first one was.
    if (!this.#hasSamples && this.#clock.hasTicks) {
      const [{ row, arrivalS }] = held
      this.#clock.anchor(row[2], arrivalS, lateness(held, this.#clock.ticksPerSecond))
    }
    for (const { row, arrivalS, announced } of held) {
      this.#rows.values.set(row, this.#rows.nextAt)
      this.#append(arrivalS, announced)
    }
  }
}
