import { mkdir } from 'node:fs/promises'
import { join } from 'node:path'
import { type CaptureKind, captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import type { RecordingStatus } from '../../core/contract/stream.ts'
import { BridgeError, systemCode } from '../bridgeError.ts'
import { type Clock, formatBasicUtc, formatLocalIso, formatSession } from '../clock.ts'
import type { Logger } from '../logger.ts'
import {
  CaptureWriter,
  type CaptureWriterOptions,
  explainDiskProblem,
  type OpenCaptureFile,
  openCaptureFile,
  syncDirectory,
} from './captureWriter.ts'
import { createPreRoll, type PreRollOptions } from './preRoll.ts'

export interface RecorderOptions {
  dataDir: string
  clock: Clock
  logger: Logger
  /** Program name and version for the start record. */
  app: string
  /** Called whenever the status changes in more than its counters. */
  onStatus?: (status: RecordingStatus) => void
  openFile?: OpenCaptureFile
  writer?: CaptureWriterOptions
  preRoll?: PreRollOptions
}

export interface StartRecording {
  /** Car id: the directory. */
  car: string
  automatic: boolean
  /** What the start record says of the sources. */
  sources: unknown[]
  /** Records that open the run: car, fitted, air. */
  records: readonly CaptureRecord[]
}

/** Where a run under way is written, by its parts. */
interface Open {
  run: string
  path: string
  zeroS: number
  automatic: boolean
  writer: CaptureWriter
}

/**
 * Keeps what the boards said, byte for byte, in an append-only capture file. Lines from before the button are kept for 30 s; a failing
 * disk ends the recording with a message and never touches the live view.
 */
export class Recorder {
  readonly #options: RecorderOptions
  readonly #preRoll: ReturnType<typeof createPreRoll>
  #open: Open | undefined
  #starting = false
  #last: {
    run?: string
    startS?: number
    seconds: number
    bytes: number
    problem?: string
    automatic: boolean
  } = { seconds: 0, bytes: 0, automatic: false }

  constructor(options: RecorderOptions) {
    this.#options = options
    this.#preRoll = createPreRoll(options.preRoll)
  }

  get isOn(): boolean {
    return this.#open !== undefined
  }

  /** The bridge's time of the run's zero, while on. */
  get zeroS(): number | undefined {
    return this.#open?.zeroS
  }

  get status(): RecordingStatus {
    const open = this.#open
    if (!open) return { on: false, ...this.#last }
    return {
      on: true,
      run: open.run,
      startS: open.zeroS,
      seconds: this.#options.clock.nowS() - open.zeroS,
      bytes: open.writer.bytes,
      automatic: open.automatic,
    }
  }

  /** A line from a source, without its line feed. The bytes are copied. */
  line(source: number, bytes: Uint8Array, timeS: number): void {
    this.#put(timeS, `<${source}`, this.#open ? bytes : bytes.slice())
  }

  /** A line sent to a source. */
  sent(source: number, text: string, timeS: number): void {
    this.#put(timeS, `>${source}`, text)
  }

  /** What the bridge itself noticed: a source lost, or back. */
  notice(notice: Readonly<Record<string, unknown>>, timeS: number): void {
    this.#put(timeS, '!', JSON.stringify(notice))
  }

  /** A record of the run under way; false when none is. */
  record(record: CaptureRecord, timeS: number): boolean {
    if (!this.#open) return false
    this.#put(timeS, '=', JSON.stringify(record))
    return true
  }

  /**
   * Starts a run.
   * @throws BridgeError `already_recording`, `disk_full`, `disk_failed`
   */
  async start({ car, automatic, sources, records }: StartRecording): Promise<RecordingStatus> {
    if (this.#open || this.#starting) throw new BridgeError('already_recording', 'a recording is already on')
    this.#starting = true
    try {
      const { clock } = this.#options
      const zeroS = clock.nowS()
      const wallMs = clock.wallMs()
      const start = {
        type: 'start',
        at: formatLocalIso(wallMs),
        app: this.#options.app,
        zone: Intl.DateTimeFormat().resolvedOptions().timeZone,
        car,
        sources,
      }
      const beginning = [start, ...records].map((record) => formatCaptureLine(0, '=', record))
      const { path, run, file } = await this.#create(car, wallMs, `${captureHeader}\n${beginning.join('')}`)
      const writer = new CaptureWriter(file, (error) => this.#giveUp(error), this.#options.writer)
      this.#preRoll.drain(clock.nowS(), (timeS, kind, payload) => {
        writer.add(formatCaptureLine(timeS - zeroS, kind, payload))
      })
      this.#open = { run, path, zeroS, automatic, writer }
      this.#options.logger.info(`recording ${run}`)
    } catch (error) {
      const problem = error instanceof BridgeError ? error : explainDiskProblem(error)
      this.#last = { ...this.#last, problem: problem.message }
      this.#tell()
      throw problem
    } finally {
      this.#starting = false
    }
    this.#tell()
    return this.status
  }

  /** Ends the run under way, if any, with everything on the disk. */
  async stop(reason: string): Promise<RecordingStatus> {
    const open = this.#open
    if (!open) return this.status
    this.record({ type: 'stop', reason }, this.#options.clock.nowS())
    this.#leave(open)
    await open.writer.close()
    this.#options.logger.info(`recording of ${open.run} ended: ${reason}`)
    this.#tell()
    return this.status
  }

  async #create(car: string, wallMs: number, beginning: string) {
    const { dataDir, openFile = openCaptureFile } = this.#options
    const session = formatSession(wallMs)
    const directory = join(dataDir, car, session)
    const made = await mkdir(directory, { recursive: true })
    if (made) {
      await syncDirectory(dataDir)
      await syncDirectory(join(dataDir, car))
    }
    // A second run within one second gets its milliseconds into the name.
    for (const withMs of [false, true]) {
      const name = `${formatBasicUtc(wallMs, withMs)}.capture`
      const path = join(directory, name)
      try {
        return { path, run: `${car}/${session}/${name}`, file: await openFile(path, beginning) }
      } catch (error) {
        if (systemCode(error) !== 'EEXIST' || withMs) throw error
      }
    }
    throw new BridgeError('disk_failed', 'two runs within one millisecond: the clock stands still')
  }

  #put(timeS: number, kind: CaptureKind, payload: Uint8Array | string): void {
    const open = this.#open
    if (open) open.writer.add(formatCaptureLine(timeS - open.zeroS, kind, payload))
    else this.#preRoll.add(timeS, kind, payload)
  }

  #leave(open: Open, problem?: string): void {
    const { seconds, bytes } = this.status
    this.#open = undefined
    this.#last = {
      run: open.run,
      startS: open.zeroS,
      seconds,
      bytes,
      automatic: open.automatic,
      ...(problem === undefined ? {} : { problem }),
    }
  }

  #giveUp(error: BridgeError): void {
    const open = this.#open
    if (!open) return
    this.#leave(open, error.message)
    this.#options.logger.error(error.message)
    void open.writer.close()
    this.#tell()
  }

  #tell(): void {
    this.#options.onStatus?.(this.status)
  }
}
