import { alarmKind } from '../../core/contract/alarmKinds.ts'
import type { LiveAlarm } from '../../core/contract/live.ts'
import type { Clock } from './clock.svelte.ts'
import type { Sound } from './sound.svelte.ts'

/** A warning sounds again this often while it lasts, ms (our own decision, as all of these). */
const repeatMs = 5000
/** Longest mute, ms. */
const muteMs = 10 * 60_000
/** A screen reader is told at most this often, ms. */
const announceMs = 5000
/** Entries of the page's own log. */
const mostLogged = 200

/** An alarm that is over and that nobody has looked at yet. */
export interface AlarmRecord {
  key: string
  code: string
  priority: LiveAlarm['priority']
  bank?: 1 | 2
  worst: number
  durationS: number
  /** When it began, on the stream's clock. */
  startS: number
}

/** Alarms as the page deals with them: which one is shown, what is muted, what sounds, what is left to be seen. The pipeline decides them. */
export class Alarms {
  #active = $state.raw<readonly LiveAlarm[]>([])
  /** The same, with what was last told of each: since when it is good again changes nothing on the screen. */
  #told: readonly LiveAlarm[] = []
  #latched = $state.raw<readonly AlarmRecord[]>([])
  #log = $state.raw<readonly AlarmRecord[]>([])
  #mutes = $state.raw<Readonly<Record<string, number>>>({})
  #acknowledged = $state.raw<readonly string[]>([])
  #announcement = $state.raw('')
  #announcedMs = Number.NEGATIVE_INFINITY
  #announcedKey = ''
  #soundedMs = new Map<string, number>()
  readonly #clock: Clock
  readonly #sound: Sound

  constructor(clock: Clock, sound: Sound) {
    this.#clock = clock
    this.#sound = sound
  }

  /** Takes the alarms that are active now, highest first. Called for every live message. */
  receive(alarms: readonly LiveAlarm[], timeS: number, nowMs = performance.now()): void {
    const before = this.#active
    const isSame = before.length === alarms.length && before.every((alarm, i) => sameLook(alarm, alarms[i]))
    if (!isSame) {
      for (const old of this.#told) {
        if (!alarms.some((alarm) => keyOf(alarm) === keyOf(old))) this.#end(old, timeS)
      }
      this.#active = alarms
      this.#acknowledged = this.#acknowledged.filter((key) => alarms.some((alarm) => keyOf(alarm) === key))
    }
    this.#told = alarms
    this.#play(alarms, nowMs)
    this.#announce(nowMs)
  }

  /** Active ones that claim the slat: acknowledged cautions give it back. */
  readonly claiming = $derived(
    this.#active.filter(
      (alarm) =>
        alarm.priority === 'warning' ||
        (alarm.priority === 'caution' && !this.#acknowledged.includes(keyOf(alarm)) && !this.#isSaid(alarm)),
    ),
  )
  /** The one that is shown. */
  readonly shown = $derived<LiveAlarm | undefined>(this.claiming[0])
  readonly shownKey = $derived(this.shown ? keyOf(this.shown) : '')
  readonly others = $derived(Math.max(0, this.claiming.length - 1))
  readonly advisory = $derived(this.#active.find((alarm) => alarm.priority === 'advisory'))
  readonly latched = $derived<AlarmRecord | undefined>(this.#latched[0])
  readonly latchedCount = $derived(this.#latched.length)
  readonly isAcknowledged = $derived(this.#acknowledged.includes(this.shownKey))

  get log(): readonly AlarmRecord[] {
    return this.#log
  }
  /** For a screen reader; changes at most once in 5 s. */
  get announcement(): string {
    return this.#announcement
  }
  get mutedCount(): number {
    const nowMs = this.#clock.nowMs
    return Object.values(this.#mutes).filter((untilMs) => untilMs > nowMs).length
  }

  /** One tap on the alarm slat: no more flashing and sound for this one. */
  acknowledge(): void {
    if (this.shown) this.#acknowledged = [...this.#acknowledged, this.shownKey]
  }

  /** The records have been seen. */
  see(): void {
    this.#latched = []
  }

  /** No sound for this kind of alarm for ten minutes; the picture stays. */
  mute(code: string): void {
    this.#mutes = { ...this.#mutes, [code]: performance.now() + muteMs }
  }

  /** A caution that only repeats what a warning says already. */
  #isSaid(alarm: LiveAlarm): boolean {
    return alarm.code === 'lean_in_power' && this.#active.some(({ code }) => code === 'lean_under_load')
  }

  #end(alarm: LiveAlarm, timeS: number): void {
    const key = keyOf(alarm)
    this.#soundedMs.delete(key)
    const record: AlarmRecord = {
      key,
      code: alarm.code,
      priority: alarm.priority,
      bank: alarm.bank,
      worst: alarm.worst,
      startS: alarm.startS,
      durationS: Math.max(0, (Number.isNaN(alarm.endS) ? timeS : alarm.endS) - alarm.startS),
    }
    this.#log = [record, ...this.#log].slice(0, mostLogged)
    if (alarm.priority === 'advisory') return
    const isSameKind = ({ code, bank }: AlarmRecord) => code === record.code && bank === record.bank
    const unseen = this.#latched.find(isSameKind)
    this.#latched = [
      unseen ? together(unseen, record) : record,
      ...this.#latched.filter((entry) => !isSameKind(entry)),
    ]
  }

  #play(alarms: readonly LiveAlarm[], nowMs: number): void {
    for (const alarm of alarms) {
      if (alarm.priority === 'advisory') continue
      const key = keyOf(alarm)
      const before = this.#soundedMs.get(key)
      const isDue =
        before === undefined ||
        (alarm.priority === 'warning' && nowMs - before >= repeatMs && !this.#acknowledged.includes(key))
      if (!isDue) continue
      this.#soundedMs.set(key, nowMs)
      if ((this.#mutes[alarm.code] ?? 0) <= nowMs) this.#sound.play(alarm.priority)
      // One sound at a time: the highest has spoken.
      return
    }
  }

  #announce(nowMs: number): void {
    const key = this.shownKey
    if (key === this.#announcedKey || nowMs - this.#announcedMs < announceMs) return
    this.#announcedKey = key
    this.#announcedMs = nowMs
    this.#announcement = this.shown?.code ?? ''
  }
}

function keyOf(alarm: LiveAlarm): string {
  return `${alarm.code}/${alarm.bank ?? 1}/${alarm.startS}`
}

/** Two of a kind that nobody has seen yet, as one: its worst value, and how long both lasted. */
function together(before: AlarmRecord, now: AlarmRecord): AlarmRecord {
  const isLowWorse = alarmKind(now.code)?.isLowBad === true
  const values = [before.worst, now.worst].filter((value) => !Number.isNaN(value))
  const worst = values.length === 0 ? Number.NaN : isLowWorse ? Math.min(...values) : Math.max(...values)
  return { ...now, worst, startS: before.startS, durationS: before.durationS + now.durationS }
}

function sameLook(a: LiveAlarm, b: LiveAlarm): boolean {
  return keyOf(a) === keyOf(b) && a.worst === b.worst && a.priority === b.priority
}
