import type { AlarmPriority } from '../contract/result.ts'

/** One alarm with on-delay, off-delay and a worst value. Bad and good are told apart by the caller, who keeps the deadband between them. */
export interface AlarmTimer {
  readonly code: string
  readonly priority: AlarmPriority
  isOn: boolean
  /** First bad moment of the alarm that is on or was on last, s. */
  startS: number
  endS: number
  worst: number
  /**
   * @param isBad over the limit
   * @param isGood back beyond the deadband; neither means between
   * @param value what is logged; the greater is the worse, `isLowBad` turns that round
   */
  step(timeS: number, isBad: boolean, isGood: boolean, value: number): void
  /** True while it is on or may come on: it needs each sample then. */
  isWaiting(): boolean
  /** Ends it at once: the source is gone. */
  stop(timeS: number): void
}

export interface AlarmTimerOptions {
  readonly code: string
  readonly priority: AlarmPriority
  readonly onDelayS: number
  readonly offDelayS: number
  readonly isLowBad?: boolean
  /** Once over, it is not raised again for so long, s, default 0: what the crew knows already need not be told each minute. */
  readonly restS?: number
  readonly onEnd: (alarm: AlarmTimer) => void
}

export function createAlarmTimer(options: AlarmTimerOptions): AlarmTimer {
  const { onDelayS, offDelayS, isLowBad = false, restS = 0, onEnd } = options
  let badSinceS = Number.NaN
  let goodSinceS = Number.NaN
  let worst = Number.NaN

  const isWorse = (value: number, than: number) => !(isLowBad ? value >= than : value <= than)

  const alarm: AlarmTimer = {
    code: options.code,
    priority: options.priority,
    isOn: false,
    startS: Number.NaN,
    endS: Number.NaN,
    worst: Number.NaN,
    step(timeS, isBad, isGood, value) {
      if (!isBad && !alarm.isOn && Number.isNaN(badSinceS)) return
      if (isBad) {
        if (Number.isNaN(badSinceS)) {
          badSinceS = timeS
          worst = value
        }
        if (!Number.isNaN(value) && isWorse(value, worst)) worst = value
      } else if (!alarm.isOn) badSinceS = Number.NaN
      if (!alarm.isOn) {
        // A hair of time makes up for the rounding of sample times.
        if (!(timeS - badSinceS >= onDelayS - 1e-6) || timeS - alarm.endS < restS) return
        alarm.isOn = true
        alarm.startS = badSinceS
        alarm.endS = Number.NaN
        goodSinceS = Number.NaN
      }
      if (isBad) alarm.worst = worst
      if (!isGood) goodSinceS = Number.NaN
      else if (Number.isNaN(goodSinceS)) goodSinceS = timeS
      if (timeS - goodSinceS >= offDelayS - 1e-6) turnOff(goodSinceS)
    },
    isWaiting: () => alarm.isOn || !Number.isNaN(badSinceS),
    stop(timeS) {
      if (alarm.isOn) turnOff(timeS)
      badSinceS = Number.NaN
    },
  }

  function turnOff(timeS: number): void {
    alarm.isOn = false
    alarm.endS = timeS
    badSinceS = Number.NaN
    goodSinceS = Number.NaN
    onEnd(alarm)
  }

  return alarm
}
