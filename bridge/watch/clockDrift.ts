/** Drift is the slope over this long, s: arrivals jitter by some ms, which is then below 0.05 %. Chosen here. */
const windowS = 60
/** Least time between two entries, s. */
const stepS = 1
/** A step of the offset by more than this between two entries is a restart or a jump, no drift, s. Chosen here. */
const jumpS = 0.3

/**
 * How much faster or slower the board's ticks run than the bridge's monotonic clock, from the offset between them that the decoder follows along
 * the lower edge of the arrivals.
 */
export class ClockDrift {
  #times: number[] = []
  #offsets: number[] = []

  /**
   * @param timeS the bridge's monotonic clock
   * @param offsetS sample time minus tick time, NaN while nothing is known
   */
  push(timeS: number, offsetS: number): void {
    const last = this.#times.length - 1
    if (Number.isNaN(offsetS) || (last >= 0 && Math.abs(offsetS - this.#offsets[last]) > jumpS)) this.forget()
    else if (last >= 0 && timeS - this.#times[last] < stepS) return
    if (Number.isNaN(offsetS)) return
    this.#times.push(timeS)
    this.#offsets.push(offsetS)
    while (timeS - this.#times[0] > windowS + stepS) {
      this.#times.shift()
      this.#offsets.shift()
    }
  }

  /** The source went away: what comes after it has no common offset with what came before. */
  forget(): void {
    this.#times = []
    this.#offsets = []
  }

  /** Share by which the board's clock is slow (positive) or fast (negative): 0.01 is 36 s an hour. NaN before a whole window was seen. */
  get share(): number {
    const last = this.#times.length - 1
    if (last < 1) return Number.NaN
    const spanS = this.#times[last] - this.#times[0]
    return spanS < windowS ? Number.NaN : (this.#offsets[last] - this.#offsets[0]) / spanS
  }
}
