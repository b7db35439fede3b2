import type { AlarmCode } from '../../core/contract/alarmKinds.ts'
import type { BridgeAlarm } from '../../core/contract/stream.ts'
import { type AlarmTimer, createAlarmTimer } from '../../core/engine/alarmTimer.ts'

/** Free space below which the owner is told, bytes: some seven hours of a 100 Hz board with 16 channels, at 34 MB an hour. Chosen here. */
export const nearlyFullBytes = 250e6
/** Back above this share more, the caution ends: a file that is being written must not make it chatter. */
const freeDeadband = 0.1
/** Share by which the board's clock may be off before it is told: ceramic resonators keep within 0.5 %, quartz within 0.01 %; common practice, no source. */
export const mostDrift = 0.01
const driftDeadband = 0.002

export interface BridgeConditions {
  /** Bytes left where runs are kept; NaN = not known. */
  freeBytes: number
  /** Share by which the board's clock is slow (positive) or fast (negative); NaN = not known. */
  drift: number
}

/** Alarms of what only the bridge can see: its disk, and the board's clock against its own. */
export class BridgeAlarms {
  readonly #disk: AlarmTimer
  readonly #clock: AlarmTimer
  readonly #onChange: (alarm: BridgeAlarm, isOn: boolean) => void

  /** @param onChange called when one comes on, and when it is over with its worst value */
  constructor(onChange: (alarm: BridgeAlarm, isOn: boolean) => void) {
    this.#onChange = onChange
    const create = (code: AlarmCode) =>
      createAlarmTimer({
        code,
        onEnd: (ended) => onChange(describe(ended), false),
      })
    this.#disk = create('disk_nearly_full')
    this.#clock = create('board_clock_drift')
  }

  step(timeS: number, { freeBytes, drift }: BridgeConditions): void {
    const isFull = freeBytes < nearlyFullBytes
    const isFree = !(freeBytes < nearlyFullBytes * (1 + freeDeadband))
    this.#step(this.#disk, timeS, isFull, isFree, freeBytes)
    const off = Math.abs(drift)
    this.#step(this.#clock, timeS, off > mostDrift, !(off > mostDrift - driftDeadband), off)
  }

  /** Those that are on. */
  get active(): BridgeAlarm[] {
    return [this.#disk, this.#clock].filter(({ isOn }) => isOn).map(describe)
  }

  #step(alarm: AlarmTimer, timeS: number, isBad: boolean, isGood: boolean, value: number): void {
    const wasOn = alarm.isOn
    alarm.step(timeS, isBad, isGood, value)
    if (alarm.isOn && !wasOn) this.#onChange(describe(alarm), true)
  }
}

function describe({ code, priority, startS, worst }: AlarmTimer): BridgeAlarm {
  return { code, priority, startS, worst: Number.isFinite(worst) ? worst : null }
}
