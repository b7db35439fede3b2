import type { Reading } from './reading.svelte.ts'

/** Slower than this counts as standing, m/s: position receivers show some 0.5 m/s at rest; common practice, no source. */
const standingMs = 1
/** Faster than this counts as moving, m/s: between the two the last answer holds. */
const movingMs = 2

export type MotionState = 'moving' | 'standing' | 'unknown'

/** Whether the car moves, by the road speed where a board or a position receiver tells it. */
export class Motion {
  readonly #reading: Reading
  readonly #isPretend: () => boolean
  #last: MotionState = 'unknown'

  /** @param isPretend true while a simulator or a replay drives: nobody sits in that car */
  constructor(reading: Reading, isPretend: () => boolean) {
    this.#reading = reading
    this.#isPretend = isPretend
  }

  readonly state = $derived.by<MotionState>(() => {
    const speedMs =
      this.#reading.isStale || this.#isPretend()
        ? Number.NaN
        : (this.#reading.digits?.roadSpeedMs ?? Number.NaN)
    if (Number.isNaN(speedMs)) this.#last = 'unknown'
    else if (speedMs > movingMs) this.#last = 'moving'
    else if (speedMs < standingMs || this.#last === 'unknown') this.#last = 'standing'
    return this.#last
  })

  get isMoving(): boolean {
    return this.state === 'moving'
  }
  /** True only where it is known. */
  get isStanding(): boolean {
    return this.state === 'standing'
  }
}
