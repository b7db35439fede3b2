import type { BoardEvent, BoardIdentity, SampleBlock } from '../../core/contract/samples.ts'
import type { SourceStatus } from '../../core/contract/stream.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import type { Decoder } from './decoder.ts'
import type { LineReading } from './lineReading.ts'
import { createRateMeter } from './rateMeter.ts'
import { createRawLines } from './rawLines.ts'
import type { Source, WireState } from './source.ts'
import { judgeSource, type SourceHearing } from './sourceCondition.ts'
import { SpeedSearch, type SpeedSearchOptions } from './speedSearch.ts'

export interface SourceChainOptions {
  source: Source
  number: number
  clock: Clock
  logger: Logger
  /** How its lines are read at first. */
  reading: LineReading
  onLine: (source: number, line: Uint8Array, arrivalS: number) => void
  onSent: (source: number, text: string, timeS: number) => void
  onNotice: (notice: Record<string, unknown>, timeS: number) => void
  onBlock: (block: SampleBlock) => void
  onEvent: (event: BoardEvent) => void
  onStatus: (status: SourceStatus) => void
  /** Readable lines came at this speed, which was found by trying. */
  onSpeed?: (baud: number) => void
  silence?: SilenceOptions
  /** Finds the speed of a serial device when only garbage comes; absent when the owner has said it. */
  speedSearch?: SpeedSearchOptions
  /** The owner may say that its lines mean something else. */
  canMap?: boolean
}

export interface SilenceOptions {
  /** A source without a readable line for this long counts as silent, s. Default 2. */
  silentS?: number
  /** A silent wire is dropped and opened anew after this long, s; 0 switches it off. Default 6. */
  reopenS?: number
}

export const defaultSilence = Object.freeze({ silentS: 2, reopenS: 6 })

/** How often condition and rate are looked at, ms. */
const watchMs = 250
/** Status goes out this often when only its counters changed, s. */
const refreshS = 1

/** One source from its bytes to blocks, with its condition. Bytes go to the recorder first, then to the decoder. */
export class SourceChain {
  readonly #options: SourceChainOptions
  readonly #silence: Required<SilenceOptions>
  #reading: LineReading
  #decoder: Decoder
  readonly #search: SpeedSearch | undefined
  #segment = -1
  readonly #lines: ReturnType<typeof createRawLines>
  readonly #hearing: SourceHearing = {
    wire: 'connecting',
    wireText: '',
    openedS: Number.NaN,
    goodS: Number.NEGATIVE_INFINITY,
    bytesS: Number.NEGATIVE_INFINITY,
  }
  #state: SourceStatus['state'] = 'connecting'
  #text = ''
  #sinceS: number
  /** Readable lines of the present decoder, and of all. */
  #goodLines = 0
  #allGoodLines = 0
  #identity: BoardIdentity | undefined
  #watch: NodeJS.Timeout | undefined
  readonly #rate = createRateMeter()
  #toldS = 0
  #toldLost = false

  constructor(options: SourceChainOptions) {
    this.#options = options
    this.#silence = { ...defaultSilence, ...options.silence }
    this.#sinceS = options.clock.nowS()
    this.#lines = createRawLines((line, arrivalS) => options.onLine(options.number, line, arrivalS))
    this.#reading = options.reading
    this.#decoder = this.#createDecoder()
    const { speed, setSpeed } = options.source
    this.#search =
      options.speedSearch && setSpeed && speed !== undefined
        ? new SpeedSearch(speed, options.speedSearch)
        : undefined
  }

  #createDecoder(): Decoder {
    const { number, onBlock, onEvent } = this.#options
    // Another way of reading begins with segments of its own.
    const firstSegment = this.#segment + 1
    return this.#reading.createDecoder(number, {
      block: (block) => {
        this.#segment = firstSegment + block.segment
        onBlock(firstSegment === 0 ? block : { ...block, segment: this.#segment })
      },
      event: (event) => onEvent(event),
      identity: (identity) => {
        this.#identity = identity
      },
    })
  }

  get status(): SourceStatus {
    const { number, source } = this.#options
    return {
      source: number,
      name: this.#identity ? `${this.#identity.boardName} (${source.name})` : source.name,
      state: this.#state,
      text: this.#text,
      sinceS: this.#sinceS,
      counts: { ...this.#decoder.counts },
      rateHz: this.#rate.hz,
      ...(source.isPretend && { pretend: true }),
      ...(source.speed !== undefined && { baud: source.speed }),
      ...(this.#options.canMap && { canMap: true }),
      ...(this.mapName !== undefined && { map: this.mapName }),
    }
  }

  /** Sample time minus the board's tick time while readable lines come, s; NaN else. */
  get clockOffsetS(): number {
    return this.#state === 'connected' ? (this.#decoder.clockOffsetS ?? Number.NaN) : Number.NaN
  }

  /** For the start record of a run. */
  get description(): Record<string, unknown> {
    const { number, source } = this.#options
    return {
      source: number,
      name: source.name,
      ...(source.speed !== undefined && { baud: source.speed }),
      ...(this.#identity && { board: this.#identity }),
      ...this.#reading.describe,
    }
  }

  /** Name of the line map in use; undefined for our own format. */
  get mapName(): string | undefined {
    const map = this.#reading.describe?.['map'] as { name?: string } | undefined
    return map && (map.name ?? 'without a name')
  }

  /** Reads the lines in another way from now on; the wire and the recording go on, and the run keeps the change. */
  readAs(reading: LineReading): void {
    const { number, source, clock, logger, onNotice } = this.#options
    const nowS = clock.nowS()
    this.#decoder.flush()
    this.#reading = reading
    this.#identity = undefined
    this.#decoder = this.#createDecoder()
    this.#goodLines = 0
    this.#hearing.goodS = Number.NEGATIVE_INFINITY
    this.#hearing.openedS = nowS
    this.#rate.restart(nowS)
    this.#search?.restart()
    onNotice({ source: number, what: 'read_as', ...reading.describe }, nowS)
    logger.info(
      `${source.name}: read ${this.mapName === undefined ? 'as our own format' : `with the map ${this.mapName}`}`,
    )
    if (source.canAsk) this.send('?')
    this.#look()
  }

  start(): void {
    this.#options.source.start({
      bytes: (chunk, arrivalS) => this.#take(chunk, arrivalS),
      wire: (state, text) => this.#setWire(state, text),
    })
    this.#watch = setInterval(() => this.#look(), watchMs)
  }

  async stop(): Promise<void> {
    clearInterval(this.#watch)
    await this.#options.source.stop()
    this.#lines.flush(this.#options.clock.nowS())
    this.#decoder.flush()
  }

  /** Sends a line to the board; false when it cannot be reached. */
  send(text: string): boolean {
    const { source, number, clock, onSent } = this.#options
    if (this.#reading.isForeign || !source.write(`${text}\n`)) return false
    onSent(number, text, clock.nowS())
    return true
  }

  #take(chunk: Uint8Array, arrivalS: number): void {
    this.#hearing.bytesS = arrivalS
    this.#search?.take(chunk, arrivalS)
    this.#lines.push(chunk, arrivalS)
    this.#decoder.push(chunk, arrivalS)
    const { lines, badChecksum, unreadable } = this.#decoder.counts
    const good = lines - badChecksum - unreadable
    if (good > this.#goodLines) {
      this.#allGoodLines += good - this.#goodLines
      this.#goodLines = good
      this.#hearing.goodS = arrivalS
      if (this.#state !== 'connected') this.#look()
    }
  }

  #setWire(state: WireState, text: string): void {
    const { source, clock } = this.#options
    this.#hearing.wire = state
    this.#hearing.wireText = text
    if (state === 'open') {
      this.#hearing.openedS = clock.nowS()
      this.#search?.restart()
      if (source.canAsk) this.send('?')
    } else if (state === 'lost') {
      // What is held of a torn line belongs to the old wire.
      this.#lines.flush(clock.nowS())
      this.#decoder.flush()
    }
    this.#look()
  }

  #look(): void {
    const nowS = this.#options.clock.nowS()
    this.#rate.look(nowS, this.#decoder.counts.samples)
    this.#searchSpeed(nowS)
    const [state, text] = judgeSource(nowS, this.#hearing, this.#silence.silentS, {
      connected: this.#connectedText(),
      searching: this.#search?.text ?? '',
      unreadable: this.#reading.unreadableText,
    })
    const changed = state !== this.#state || text !== this.#text
    if (state !== this.#state) {
      this.#sinceS = nowS
      this.#noticeChange(state, text, nowS)
    }
    this.#state = state
    this.#text = text
    if (changed || nowS - this.#toldS >= refreshS) {
      this.#toldS = nowS
      this.#options.onStatus(this.status)
    }
    this.#reopenWhenSilent(nowS)
  }

  #connectedText(): string {
    const firmware = this.#identity ? `firmware ${this.#identity.firmware}` : ''
    return [firmware, this.mapName === undefined ? '' : `read with the map ${this.mapName}`]
      .filter(Boolean)
      .join(', ')
  }

  /** Tries the usual speeds while bytes come that cannot be read, and tells of it. */
  #searchSpeed(nowS: number): void {
    const search = this.#search
    if (!search || this.#hearing.wire !== 'open') return
    const { source, logger, onSpeed } = this.#options
    const wasGood = search.isGood
    const textBefore = search.text
    const speed = search.look(nowS, this.#allGoodLines)
    if (search.isGood && !wasGood) {
      if (textBefore !== '') logger.info(`${source.name}: found readable lines at ${search.speed} baud`)
      onSpeed?.(search.speed)
    } else if (search.text !== textBefore && search.text !== '') logger.info(`${source.name}: ${search.text}`)
    if (speed === undefined) return
    // What is held of a torn line came at the old speed.
    this.#lines.flush(nowS)
    this.#decoder.flush()
    source.setSpeed?.(speed)
    if (source.canAsk) this.send('?')
  }

  /** The run keeps when a source went and came back. */
  #noticeChange(state: SourceStatus['state'], text: string, nowS: number): void {
    const { number, onNotice, logger, source } = this.#options
    if (state === 'connected') {
      logger.info(`${source.name}: readable lines come`)
      if (this.#toldLost) onNotice({ source: number, what: 'back' }, nowS)
      this.#toldLost = false
    } else if (this.#state === 'connected') {
      logger.warn(`${source.name}: ${text}`)
      onNotice({ source: number, what: state === 'silent' ? 'silent' : 'lost', text }, nowS)
      this.#toldLost = true
    }
  }

  #reopenWhenSilent(nowS: number): void {
    const { reopenS } = this.#silence
    if (
      reopenS === 0 ||
      this.#hearing.wire !== 'open' ||
      nowS - Math.max(this.#hearing.openedS, this.#hearing.bytesS) < reopenS
    )
      return
    this.#hearing.wire = 'lost'
    this.#hearing.wireText = 'nothing comes: opening the port again'
    this.#options.source.reopen()
  }
}
