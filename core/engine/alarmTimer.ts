import { type AlarmCode, type AlarmKind, alarmKinds } from '../contract/alarmKinds.ts'
import type { AlarmPriority } from '../contract/result.ts'

/** A fault lasts so long before its alarm comes on, and is gone for so long before it ends, s. */
const delays: Readonly<Record<AlarmPriority, { onS: number; offS: number }>> = {
  warning: { onS: 0.3, offS: 1 },
  caution: { onS: 1, offS: 2 },
  advisory: { onS: 3, offS: 5 },
}

/** Readings farther apart than this are no spikes of each other, s. Chosen here. */
const SPIKE_S = 0.25

/** One alarm with on-delay, off-delay and a worst value. Bad and good are told apart by the caller, who keeps the deadband between them. */
export interface AlarmTimer {
  readonly code: AlarmCode
  readonly priority: AlarmPriority
  isOn: boolean
  /** First bad moment of the alarm that is on or was on last, s. */
  startS: number
  /** Last of the alarm that is over; of one that is on, since when it is good again, or NaN. */
  endS: number
  /** The worst value, single spikes aside. */
  worst: number
  /**
   * @param isBad over the limit
   * @param isGood back beyond the deadband; neither means between
   * @param value what is logged; the greater is the worse, but where the alarm's kind says that low is bad
   */
  step(timeS: number, isBad: boolean, isGood: boolean, value: number): void
  /** True while it is on or may come on: it needs each sample then. */
  isWaiting(): boolean
  /** Ends it at once: the source is gone. */
  stop(timeS: number): void
}

export interface AlarmTimerOptions {
  readonly code: AlarmCode
  /** Once over, it is not raised again for so long, s, default 0, then for twice as long: what the crew knows already need not be told each minute. */
  readonly restS?: number
  readonly onEnd: (alarm: AlarmTimer) => void
}

export function createAlarmTimer(options: AlarmTimerOptions): AlarmTimer {
  const { code, restS = 0, onEnd } = options
  const { priority, isLowBad = false }: AlarmKind = alarmKinds[code]
  const { onS, offS } = delays[priority]
  // Fields of an object, so that no number is boxed at each sample.
  const since = {
    badSinceS: Number.NaN,
    goodSinceS: Number.NaN,
    worst: Number.NaN,
    /** The value before this one, and when. */
    before: Number.NaN,
    beforeS: Number.NaN,
    restS,
  }

  const isWorse = (value: number, than: number) => !(isLowBad ? value >= than : value <= than)

  const alarm: AlarmTimer = {
    code,
    priority,
    isOn: false,
    startS: Number.NaN,
    endS: Number.NaN,
    worst: Number.NaN,
    step(timeS, isBad, isGood, value) {
      if (!isBad && !alarm.isOn && Number.isNaN(since.badSinceS)) return
      if (isBad) {
        if (Number.isNaN(since.badSinceS)) {
          since.badSinceS = timeS
          since.worst = Number.NaN
          since.before = Number.NaN
          since.beforeS = Number.NaN
        }
        takeWorst(timeS, value)
      } else if (!alarm.isOn) since.badSinceS = Number.NaN
      since.before = value
      since.beforeS = timeS
      if (!alarm.isOn) {
        // A hair of time makes up for the rounding of sample times.
        if (!(timeS - since.badSinceS >= onS - 1e-6) || timeS - alarm.endS < since.restS) return
        if (!Number.isNaN(alarm.endS)) since.restS *= 2
        alarm.isOn = true
        alarm.startS = since.badSinceS
        alarm.endS = Number.NaN
        since.goodSinceS = Number.NaN
      }
      if (isBad) alarm.worst = Number.isNaN(since.worst) ? value : since.worst
      if (!isGood) since.goodSinceS = Number.NaN
      else if (Number.isNaN(since.goodSinceS)) since.goodSinceS = timeS
      alarm.endS = since.goodSinceS
      if (timeS - since.goodSinceS >= offS - 1e-6) turnOff(since.goodSinceS)
    },
    isWaiting: () => alarm.isOn || !Number.isNaN(since.badSinceS),
    stop(timeS) {
      if (alarm.isOn) turnOff(timeS)
      since.badSinceS = Number.NaN
    },
  }

  /** Of readings that come quickly a value is the worst once the next one is as bad: a single spike is none. */
  function takeWorst(timeS: number, value: number): void {
    if (Number.isNaN(value)) return
    const isQuick = !(timeS - since.beforeS > SPIKE_S)
    const held = isQuick && isWorse(value, since.before) ? since.before : value
    if (!Number.isNaN(held) && (Number.isNaN(since.worst) || isWorse(held, since.worst))) since.worst = held
  }

  function turnOff(timeS: number): void {
    alarm.isOn = false
    alarm.endS = timeS
    since.badSinceS = Number.NaN
    since.goodSinceS = Number.NaN
    onEnd(alarm)
  }

  return alarm
}
