/** A jump of the board's clock or of the arrival clock by more than this is no jitter (contract). */
const jumpS = 2
/** So long must arrivals disagree before a jump of the arrival clock is believed: a stalled reader catches up sooner. */
const persistS = 1
/** Over so long the least delay is looked for, then followed: long against bursts, short against warming oscillators. Chosen here. */
const windowS = 4
/** Most the sample clock is slowed or hurried to follow, so that rates are never wrong by more. Chosen here. */
const maxSlew = 0.1
/** Least step between two samples. */
const minStepS = 1e-6
const tickModulus = 2 ** 32

/**
 * Gives samples their time. The board's tick says how far apart they are; the arrival clock says where they lie. A sample cannot arrive before it was
 * taken, and delay only ever adds, so the tick's time is laid along the lower edge of the arrivals: bursts and USB latency do not jitter it.
 * Times rise by at least a microsecond and depend on ticks and arrivals only.
 */
export class SampleClock {
  /** Times the board's or the arrival clock jumped. */
  jumps = 0
  #ticksPerSecond = Number.NaN
  #anchored = false
  /** Time in which the tick wraps, s. */
  #wrapS = Number.NaN
  /** Tick of the last sample, as sent and unwrapped, and the time that is, s. */
  #lastTick = 0
  #ticks = 0
  #tickS = 0
  #lastTimeS = Number.NEGATIVE_INFINITY
  /** Sample time − tick time. */
  #offsetS = 0
  /** Rise of the offset per second, toward the last window's least. */
  #rise = 0
  #windowEndS = 0
  #windowLeastS = Number.POSITIVE_INFINITY
  /** Added to arrivals after the arrival clock was set back. */
  #arrivalShiftS = 0
  #newestArrivalS = Number.NEGATIVE_INFINITY
  /** Arrival since which all samples disagree with the clock, NaN while they agree. */
  #disagreeSinceS = Number.NaN
  #disagreeLeastS = 0

  get hasTicks(): boolean {
    return this.#ticksPerSecond > 0
  }

  get ticksPerSecond(): number {
    return this.#ticksPerSecond
  }

  /** Sample time − tick time, s: its slow rise is the drift of the board's clock. NaN without ticks and before the first sample. */
  get offsetS(): number {
    return this.#anchored && this.hasTicks ? this.#offsetS : Number.NaN
  }

  /** Without ticks (0) samples get their arrival times. */
  setTicksPerSecond(ticksPerSecond: number): void {
    if (ticksPerSecond === this.#ticksPerSecond) return
    this.#ticksPerSecond = ticksPerSecond
    this.#wrapS = tickModulus / ticksPerSecond
    this.#anchored = false
  }

  /** The board's tick starts anew: the next sample is laid at its arrival. */
  restart(): void {
    this.#anchored = false
  }

  /** Lays the first sample of a board's run `laterS` before its arrival, if samples behind it already show that it was late by so much. */
  anchor(tick: number, arrivalS: number, laterS = 0): void {
    this.#anchored = true
    this.#lastTick = tick
    this.#ticks = tick
    this.#tickS = tick / this.#ticksPerSecond
    this.#newestArrivalS = arrivalS
    this.#offsetS = arrivalS + this.#arrivalShiftS - this.#tickS - laterS
    this.#openWindow(this.#tickS)
    this.#rise = 0
    this.#disagreeSinceS = Number.NaN
  }

  /** Writes the time of a sample, s, to `times[at]`; samples must come in the order they were taken. */
  stampInto(times: Float64Array, at: number, tick: number, arrivalS: number): void {
    let timeS = arrivalS
    if (this.#ticksPerSecond > 0) {
      if (!this.#anchored) this.anchor(tick, arrivalS)
      const beforeS = this.#tickS
      this.#forward(tick, arrivalS)
      this.#follow(this.#tickS, Math.min(this.#tickS - beforeS, windowS), arrivalS)
      timeS = this.#tickS + this.#offsetS
    }
    const least = this.#lastTimeS + minStepS
    if (!(timeS > least)) timeS = least
    this.#lastTimeS = timeS
    times[at] = timeS
  }

  /** Time of a tick near the last sample's, s; the arrival where the tick says nothing believable. Changes nothing. */
  timeOf(tick: number, arrivalS: number): number {
    if (!this.#anchored || !(this.#ticksPerSecond > 0)) return arrivalS
    const timeS = (this.#ticks + ((tick - this.#lastTick) | 0)) / this.#ticksPerSecond + this.#offsetS
    return Math.abs(timeS - arrivalS - this.#arrivalShiftS) <= jumpS ? timeS : arrivalS
  }

  /**
   * Goes on to the tick of the next sample. How often the tick wrapped in a long silence only the arrivals can say; they are believed if the
   * fraction of a wrap agrees too.
   */
  #forward(tick: number, arrivalS: number): void {
    this.#ticks += (tick - this.#lastTick) >>> 0
    this.#lastTick = tick
    this.#tickS = this.#ticks / this.#ticksPerSecond
    const excessS = arrivalS + this.#arrivalShiftS - this.#tickS - this.#offsetS
    if (excessS < this.#wrapS / 2) return
    const wraps = Math.round(excessS / this.#wrapS)
    if (!(Math.abs(excessS - wraps * this.#wrapS) <= jumpS)) return
    this.#ticks += wraps * tickModulus
    this.#tickS = this.#ticks / this.#ticksPerSecond
  }

  #follow(tickS: number, stepS: number, arrivalS: number): void {
    const seenS = arrivalS + this.#arrivalShiftS - tickS
    const excessS = seenS - this.#offsetS
    if (excessS > jumpS || excessS < -jumpS) {
      this.#disagree(tickS, seenS, excessS, arrivalS)
      return
    }
    this.#disagreeSinceS = Number.NaN
    if (arrivalS > this.#newestArrivalS) this.#newestArrivalS = arrivalS
    if (seenS < this.#windowLeastS) this.#windowLeastS = seenS
    if (tickS >= this.#windowEndS) {
      const rise = (this.#windowLeastS - this.#offsetS) / windowS
      this.#rise = rise > maxSlew ? maxSlew : Math.max(rise, 0)
      this.#openWindow(tickS)
    }
    this.#offsetS += this.#rise * stepS
    if (seenS < this.#offsetS) {
      const slowest = this.#offsetS - maxSlew * stepS
      this.#offsetS = Math.max(seenS, slowest)
    }
  }

  /** Arrival and tick differ by more than jitter. Until it is clear what jumped, samples go on by the tick. */
  #disagree(tickS: number, seenS: number, excessS: number, arrivalS: number): void {
    const isSetBack = excessS < 0 && arrivalS < this.#newestArrivalS - jumpS
    if (excessS < 0 && !isSetBack) {
      // The tick leapt ahead of the arrivals, which no delay explains.
      this.#reanchor(tickS, seenS)
      return
    }
    if (!(arrivalS >= this.#disagreeSinceS)) {
      this.#disagreeSinceS = arrivalS
      this.#disagreeLeastS = seenS
    }
    if (seenS < this.#disagreeLeastS) this.#disagreeLeastS = seenS
    if (arrivalS - this.#disagreeSinceS < persistS) return
    this.#newestArrivalS = arrivalS
    if (isSetBack) {
      this.#arrivalShiftS -= excessS
      this.#reanchor(tickS, this.#offsetS)
    } else this.#reanchor(tickS, this.#disagreeLeastS)
  }

  #reanchor(tickS: number, offsetS: number): void {
    this.jumps++
    this.#offsetS = offsetS
    if (tickS + offsetS <= this.#lastTimeS) this.#offsetS = this.#lastTimeS + minStepS - tickS
    this.#rise = 0
    this.#disagreeSinceS = Number.NaN
    this.#openWindow(tickS)
  }

  #openWindow(tickS: number): void {
    this.#windowEndS = tickS + windowS
    this.#windowLeastS = Number.POSITIVE_INFINITY
  }
}
