import type { Air } from '../core/contract/car.ts'
import type { CaptureRecord } from '../core/contract/records.ts'
import type { BoardEvent, SampleBlock } from '../core/contract/samples.ts'
import type { RecordingStatus, SourceStatus } from '../core/contract/stream.ts'
import { errorText } from './bridgeError.ts'
import type { Clock } from './clock.ts'
import type { Logger } from './logger.ts'
import { type AutoRecordOptions, createAutoRecord } from './record/autoRecord.ts'
import type { OpenCaptureFile } from './record/captureWriter.ts'
import { Recorder } from './record/recorder.ts'
import type { LineReading } from './source/lineReading.ts'
import { LineTail } from './source/lineTail.ts'
import type { Source } from './source/source.ts'
import { type SilenceOptions, SourceChain } from './source/sourceChain.ts'
import type { SpeedSearchOptions } from './source/speedSearch.ts'
import { CarStore } from './store/carStore.ts'
import { PortStore } from './store/portStore.ts'
import { RunStore } from './store/runStore.ts'
import { LiveStream } from './stream/liveStream.ts'
import { BridgeWatch } from './watch/bridgeWatch.ts'

/** A source and how its bytes are read. */
export interface SourceSetup extends LineReading {
  source: Source
  silence?: SilenceOptions
  /** Finds the speed of a serial device by trying; absent when the owner has said it. */
  speedSearch?: SpeedSearchOptions
  /** Port under which the owner's line map and the speed found are remembered; absent for what is no port. */
  port?: string
}

export interface BridgeOptions {
  dataDir: string
  version: string
  clock: Clock
  logger: Logger
  sources: SourceSetup[]
  /** Car in use when none was chosen before. */
  car: string
  /** True when `car` was asked for and wins over an earlier choice. */
  forceCar?: boolean
  /** Record from the start, until told to stop. */
  record?: boolean
  /** Record by itself from first firing until a minute after the engine is off; `false` switches it off. */
  autoRecord?: AutoRecordOptions | false
  openFile?: OpenCaptureFile
  /** Bytes left beside a path; default asks the system. */
  measureFree?: (path: string) => Promise<number>
  /** The disk is looked at this often, s. Default 5. */
  diskEveryS?: number
}

/** Length and size of a recording are told this often, ms. */
const statusPeriodMs = 500

/** Joins sources, recorder and live stream; everything that must go on without a page. */
export class Bridge {
  readonly options: BridgeOptions
  readonly stream: LiveStream
  readonly recorder: Recorder
  readonly cars: CarStore
  readonly runs: RunStore
  readonly ports: PortStore
  /** Newest raw lines, for the page about the link. */
  readonly tail = new LineTail()
  readonly #chains: SourceChain[]
  readonly #watch: BridgeWatch
  readonly #auto: ReturnType<typeof createAutoRecord> | undefined
  #car: string
  #air: Air | undefined
  #timer: NodeJS.Timeout | undefined
  #stopping: Promise<void> | undefined

  constructor(options: BridgeOptions) {
    const { clock, logger, version, dataDir } = options
    this.options = options
    this.#car = options.car
    this.cars = new CarStore(dataDir)
    this.runs = new RunStore(dataDir)
    this.ports = new PortStore(dataDir)
    this.recorder = new Recorder({
      dataDir,
      clock,
      logger,
      app: `floatbowl ${version}`,
      openFile: options.openFile,
      onStatus: (status) => this.stream.condition({ type: 'recording', status }),
    })
    this.stream = new LiveStream({
      clock,
      logger,
      version,
      car: () => this.#car,
      sources: () => this.sources,
      recording: () => this.recorder.status,
      alarms: () => this.#watch.active,
    })
    this.#watch = new BridgeWatch({
      logger,
      dataDir,
      clockOffsetS: () => this.#chains[0]?.clockOffsetS ?? Number.NaN,
      onNotice: (notice, timeS) => this.recorder.notice(notice, timeS),
      onAlarms: (alarms) => this.stream.condition({ type: 'alarm', alarms }),
      measureFree: options.measureFree,
      diskEveryS: options.diskEveryS,
    })
    this.#auto = options.autoRecord === false ? undefined : createAutoRecord(options.autoRecord)
    this.#chains = options.sources.map((setup, number) => this.#createChain(setup, number))
  }

  get car(): string {
    return this.#car
  }

  /** Air of the day, once it was noted. */
  get air(): Air | undefined {
    return this.#air
  }

  get sources(): SourceStatus[] {
    return this.#chains.map((chain) => chain.status)
  }

  async start(): Promise<void> {
    try {
      const state = await this.cars.state.read()
      if (!this.options.forceCar) this.#car = state.car ?? this.#car
      this.#air = state.air
    } catch (error) {
      this.options.logger.error(errorText(error))
    }
    for (const chain of this.#chains) chain.start()
    this.#timer = setInterval(() => this.#everyHalfSecond(), statusPeriodMs)
    if (this.options.record) await this.startRecording(false).catch((error) => this.#tellProblem(error))
  }

  /** Ends the recording cleanly and closes everything. */
  stop(reason = 'the bridge ends'): Promise<void> {
    this.#stopping ??= this.#stop(reason)
    return this.#stopping
  }

  async #stop(reason: string): Promise<void> {
    clearInterval(this.#timer)
    await Promise.all(this.#chains.map((chain) => chain.stop()))
    await this.recorder.stop(reason)
    this.stream.stop()
  }

  /** @throws BridgeError when the recorder is on already or the disk fails */
  async startRecording(automatic: boolean, car = this.#car): Promise<RecordingStatus> {
    this.#car = car
    return this.recorder.start({
      car,
      automatic,
      sources: this.#chains.map((chain) => chain.description),
      records: await this.#openingRecords(car),
    })
  }

  /** A mark of this moment: in the run under way, and on every page. */
  mark(label: string): { timeS: number; recorded: boolean } {
    const timeS = this.options.clock.nowS()
    const recorded = this.recorder.record({ type: 'mark', label }, timeS)
    this.stream.event({ type: 'mark', timeS, label })
    return { timeS, recorded }
  }

  /** A record of this moment: in the run under way, and on every page. */
  record(record: CaptureRecord): { timeS: number; recorded: boolean } {
    const timeS = this.options.clock.nowS()
    const recorded = this.recorder.record(record, timeS)
    this.stream.event({ type: 'record', timeS, record })
    return { timeS, recorded }
  }

  /** The car in use from now on; a run under way keeps its own. */
  async chooseCar(car: string): Promise<void> {
    await this.cars.state.update((state) => {
      state.car = car
    })
    this.#car = car
    const profile = await this.cars.car(car).profile.read()
    this.stream.event({
      type: 'record',
      timeS: this.options.clock.nowS(),
      record: { type: 'car', car: profile },
    })
  }

  /** Today's air: for the run under way and the next ones. */
  async setAir(air: Air): Promise<void> {
    this.#air = air
    this.record({ type: 'air', ...air })
    await this.cars.state.update((state) => {
      state.air = air
    })
  }

  /** Sends a command line to the board of a source; false when it cannot be reached. */
  send(source: number, text: string): boolean {
    return this.#chains[source]?.send(text) ?? false
  }

  /** Reads a source's lines in another way from now on; false for a source that there is not. */
  readAs(source: number, reading: LineReading): boolean {
    const chain = this.#chains[source]
    chain?.readAs(reading)
    return chain !== undefined
  }

  #createChain(setup: SourceSetup, number: number): SourceChain {
    const { clock, logger } = this.options
    const { port } = setup
    return new SourceChain({
      source: setup.source,
      number,
      clock,
      logger,
      silence: setup.silence,
      reading: setup,
      ...(setup.speedSearch && { speedSearch: setup.speedSearch }),
      canMap: port !== undefined,
      onLine: (source, line, arrivalS) => {
        this.recorder.line(source, line, arrivalS)
        this.tail.push(source, line, arrivalS)
      },
      onSent: (source, text, timeS) => this.recorder.sent(source, text, timeS),
      onNotice: (notice, timeS) => this.recorder.notice(notice, timeS),
      onBlock: (block) => this.#takeBlock(block),
      onEvent: (event) => this.#takeEvent(event),
      onStatus: (status) => this.stream.condition({ type: 'source', status }),
      onSpeed: (baud) => {
        if (port === undefined) return
        this.ports.keep(port, { baud }).catch((error: unknown) => logger.warn(errorText(error)))
      },
    })
  }

  #takeBlock(block: SampleBlock): void {
    this.stream.push(block)
    if (block.source === 0) this.#auto?.push(block)
  }

  #takeEvent({ source, timeS, code, text }: BoardEvent): void {
    this.stream.event({ type: 'event', source, timeS, code, text })
  }

  async #openingRecords(car: string): Promise<CaptureRecord[]> {
    const files = this.cars.car(car)
    const records: CaptureRecord[] = []
    try {
      const profile = await files.profile.read()
      records.push({ type: 'car', car: profile })
      for (const bank of [1, 2]) {
        const last = profile.sensor?.free_air?.findLast((reading) => reading.bank === bank)
        if (last) records.push({ type: 'free_air', bank, current_mA: last.current_mA })
      }
      const { fitted } = await files.parts.read()
      if (Object.keys(fitted).length > 0) records.push({ type: 'fitted', fitted })
    } catch (error) {
      // A damaged profile must not keep a drive from being recorded.
      this.#tellProblem(error)
    }
    if (this.#air) records.push({ type: 'air', ...this.#air })
    return records
  }

  #everyHalfSecond(): void {
    this.#watch.look(this.options.clock.nowS())
    if (this.recorder.isOn) this.stream.condition({ type: 'recording', status: this.recorder.status })
    const due = this.#auto?.due(this.options.clock.nowS())
    if (due === 'start' && !this.recorder.isOn) {
      this.startRecording(true).catch((error: unknown) => this.#tellProblem(error))
    } else if (due === 'stop' && this.recorder.isOn && !this.options.record) {
      this.recorder
        .stop('the engine has been off for a minute')
        .catch((error: unknown) => this.#tellProblem(error))
    }
  }

  #tellProblem(error: unknown): void {
    const text = errorText(error)
    this.options.logger.error(text)
    const code = (error as { code?: string }).code ?? 'failed'
    this.stream.event({ type: 'problem', code, text })
  }
}
