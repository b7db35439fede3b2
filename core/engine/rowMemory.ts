/** Power of two; holds a quarter of a second at 4 kHz. */
const CAPACITY = 1024
const MASK = CAPACITY - 1

/** Readings that are not smoothed but belong to the moment of a point, which comes out later than its row: here they wait for it. */
export class RowMemory {
  readonly #times = new Float64Array(CAPACITY)
  readonly #roadSpeeds = new Float64Array(CAPACITY)
  readonly #secondaries = new Float64Array(CAPACITY)
  // Absolute row numbers; the ring index is number & MASK.
  #written = 0
  #at = 0

  add(timeS: number, roadSpeedMs: number, secondaryPct: number): void {
    const at = this.#written++ & MASK
    this.#times[at] = timeS
    this.#roadSpeeds[at] = roadSpeedMs
    this.#secondaries[at] = secondaryPct
  }

  /** Goes on to the row of this time, the last one up to it; times ascend. */
  goTo(timeS: number): void {
    if (this.#at < this.#written - CAPACITY) this.#at = this.#written - CAPACITY
    while (this.#at + 1 < this.#written && this.#times[(this.#at + 1) & MASK] <= timeS) this.#at++
  }

  get roadSpeedMs(): number {
    return this.#roadSpeeds[this.#at & MASK]
  }

  get secondaryPct(): number {
    return this.#secondaries[this.#at & MASK]
  }
}
