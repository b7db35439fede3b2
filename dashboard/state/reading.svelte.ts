import type { LiveReading } from '../../core/contract/live.ts'
import { isStateKnown } from '../words/stateWords.ts'
import type { Clock } from './clock.svelte.ts'

/** Digits change at most about twice a second: faster cannot be read (MIL-STD-1472, from memory). A little over half a second. */
const digitsMs = 520
/** Without a sample for so long the number goes. */
export const staleS = 1

/**
 * The newest live reading, published once per animation frame: `strip` for what may move fast, `digits` for what is read.
 */
export class Reading {
  #strip = $state.raw<LiveReading | undefined>(undefined)
  #digits = $state.raw<LiveReading | undefined>(undefined)
  #ageS = $state.raw(Number.POSITIVE_INFINITY)
  #heardMs = $state.raw(0)
  #pending: LiveReading | undefined
  #pendingAgeS = Number.POSITIVE_INFINITY
  #pendingHeardMs = 0
  #frame = 0
  #digitsMs = Number.NEGATIVE_INFINITY
  #fixed = false
  readonly #clock: Clock

  constructor(clock: Clock) {
    this.#clock = clock
  }

  receive(reading: LiveReading, ageS: number): void {
    if (this.#fixed) return
    this.#pending = reading
    this.#pendingAgeS = ageS
    this.#pendingHeardMs = performance.now()
    if (this.#frame === 0) this.#frame = requestAnimationFrame(() => this.#publish())
  }

  /** Shows this and nothing else: tests, pictures. */
  fix(reading: LiveReading): void {
    this.#fixed = true
    this.#strip = reading
    this.#digits = reading
  }

  get strip(): LiveReading | undefined {
    return this.#strip
  }
  get digits(): LiveReading | undefined {
    return this.#digits
  }

  /** Seconds without a sample, in steps of the clock; 0 while they come. */
  get silentS(): number {
    if (this.#fixed) return 0
    const nowMs = this.#clock.nowMs
    return this.#ageS + Math.max(0, nowMs - this.#heardMs) / 1000
  }
  readonly isStale = $derived(this.silentS > staleS)

  #publish(): void {
    this.#frame = 0
    const reading = this.#pending
    if (!reading) return
    const isBack = this.#ageS > staleS && this.#pendingAgeS <= staleS
    this.#strip = reading
    // Only together: a newer moment beside an older age would make the silence shorter.
    this.#ageS = this.#pendingAgeS
    this.#heardMs = this.#pendingHeardMs
    const nowMs = performance.now()
    const before = this.#digits
    // A reading that loses or wins back its trust is told at once, and so are the first one after silence or before which no state was known, and the one
    // of which an alarm speaks: LIFT OFF does not stand beside the word of half a second ago.
    const isNews =
      isBack ||
      reading.banks[0]?.untrusted !== before?.banks[0]?.untrusted ||
      raisesAlarm(reading, before) ||
      (before !== undefined && isStateKnown(reading) !== isStateKnown(before))
    if (isNews || nowMs - this.#digitsMs >= digitsMs) {
      this.#digits = reading
      this.#digitsMs = nowMs
    }
  }
}

function raisesAlarm({ alarms }: LiveReading, before: LiveReading | undefined): boolean {
  return alarms.some(
    ({ code, startS, priority }) =>
      priority !== 'advisory' &&
      !before?.alarms.some((known) => known.code === code && known.startS === startS),
  )
}
