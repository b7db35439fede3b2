import type { BridgeAlarm } from '../../core/contract/stream.ts'
import { errorText } from '../bridgeError.ts'
import type { Logger } from '../logger.ts'
import { BridgeAlarms } from './bridgeAlarms.ts'
import { ClockDrift } from './clockDrift.ts'
import { measureFreeBytes } from './freeSpace.ts'

export interface BridgeWatchOptions {
  logger: Logger
  dataDir: string
  /** Sample time minus the board's tick time, s; NaN while not known. */
  clockOffsetS: () => number
  /** One came on or is over: for the run under way. */
  onNotice: (notice: Readonly<Record<string, unknown>>, timeS: number) => void
  /** All that are on: for the pages. */
  onAlarms: (alarms: BridgeAlarm[]) => void
  /** Bytes left beside a path; default asks the system. */
  measureFree?: (path: string) => Promise<number>
  /** The disk is looked at this often, s. Default 5. */
  diskEveryS?: number
}

const defaultDiskEveryS = 5
/** Alarms that go on are told again this often, s: a page that was behind may have missed the change. */
const againS = 2

/** Looks at what only the bridge sees, the room on its disk and the board's clock against its own, and tells of it. */
export class BridgeWatch {
  readonly #options: BridgeWatchOptions
  readonly #alarms: BridgeAlarms
  readonly #drift = new ClockDrift()
  #freeBytes = Number.NaN
  #diskS = Number.NEGATIVE_INFINITY
  #toldS = Number.NEGATIVE_INFINITY
  #nowS = 0

  constructor(options: BridgeWatchOptions) {
    this.#options = options
    this.#alarms = new BridgeAlarms((alarm, isOn) => {
      options.onNotice({ what: isOn ? 'alarm' : 'alarm_over', ...alarm }, this.#nowS)
      options.logger.warn(`${alarm.code} ${isOn ? 'on' : 'over'}, worst ${alarm.worst}`)
      this.#tell()
    })
  }

  /** Alarms that are on. */
  get active(): BridgeAlarm[] {
    return this.#alarms.active
  }

  /** Called a few times a second with the bridge's monotonic time. */
  look(nowS: number): void {
    this.#nowS = nowS
    this.#lookAtDisk()
    this.#drift.push(nowS, this.#options.clockOffsetS())
    this.#alarms.step(nowS, { freeBytes: this.#freeBytes, drift: this.#drift.share })
    if (this.active.length > 0 && nowS - this.#toldS >= againS) this.#tell()
  }

  #lookAtDisk(): void {
    const { measureFree = measureFreeBytes, diskEveryS = defaultDiskEveryS, dataDir, logger } = this.#options
    if (this.#nowS - this.#diskS < diskEveryS) return
    this.#diskS = this.#nowS
    measureFree(dataDir).then(
      (bytes) => {
        this.#freeBytes = bytes
      },
      (error: unknown) => logger.warn(`free space: ${errorText(error)}`),
    )
  }

  #tell(): void {
    this.#toldS = this.#nowS
    this.#options.onAlarms(this.active)
  }
}
