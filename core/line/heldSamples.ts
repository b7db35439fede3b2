/** So long samples wait for their declarations, s (contract). */
const waitS = 10
/** Most samples that wait: 10 s at 5 kHz and more, whatever the arrival clock says. */
const maxHeld = 65536
/** A first sample is not taken to be older than this when it arrives, s. Chosen here, as the limit of jitter. */
const maxFirstDelayS = 2

export interface HeldSample {
  /** Number of values, seq, tick, values. */
  readonly row: Float64Array
  readonly arrivalS: number
  /** Declaration lines before it, see `Sequence.classify`. */
  readonly announced: number
}

/** Samples that wait for `I` or `C`, oldest first. */
export class HeldSamples {
  #held: HeldSample[] = []
  /** Values of the longest that waits. */
  valueCount = 0

  get length(): number {
    return this.#held.length
  }

  /** @returns how many were dropped for it: 1 when there is no room for more */
  add(sample: HeldSample): 0 | 1 {
    const isFull = this.#held.length === maxHeld
    if (isFull) this.#held.shift()
    this.#held.push(sample)
    if (sample.row[0] > this.valueCount) this.valueCount = sample.row[0]
    return isFull ? 1 : 0
  }

  /** True when the oldest has waited too long. */
  isOverdue(arrivalS: number): boolean {
    return arrivalS - this.#held[0].arrivalS > waitS
  }

  /** Drops those that have waited too long. @returns how many */
  dropOverdue(arrivalS: number): number {
    let old = 0
    while (old < this.#held.length && arrivalS - this.#held[old].arrivalS > waitS) old++
    this.#held.splice(0, old)
    return old
  }

  /** Hands over all that wait. */
  take(): readonly HeldSample[] {
    const held = this.#held
    this.#held = []
    this.valueCount = 0
    return held
  }
}

/** How late the first of these came, s, as the later ones show by their ticks; 0 when none came sooner after its tick. */
export function lateness(held: readonly HeldSample[], ticksPerSecond: number): number {
  const first = held[0]
  let lateS = 0
  let ticks = 0
  let lastTick = first.row[2]
  for (const { row, arrivalS } of held) {
    const step = (row[2] - lastTick) | 0
    if (step < 0) break
    ticks += step
    lastTick = row[2]
    const leadS = ticks / ticksPerSecond - (arrivalS - first.arrivalS)
    if (leadS > lateS && leadS < maxFirstDelayS) lateS = leadS
  }
  return lateS
}
