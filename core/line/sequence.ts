/** What a sample's number says about it. */
export const inOrder = 0
export const repeatedOrLate = 1
export const afterRestart = 2

/** A sample may be so many places late before its coming back means a restart. Chosen here: serial lines do not reorder, networks do so little. */
const maxLateBy = 64
/** So many samples one after another that seem late mean that the board counts anew. */
const maxLateRun = 8
/** A tick that is lower than the last and would have to have wrapped so much earlier than the arrivals say has not wrapped. */
const wrapToleranceS = 60
const seqModulus = 65536
const tickModulus = 2 ** 32

/** Follows sequence numbers and ticks of one board: finds lost, repeated and late samples, and restarts. */
export class Sequence {
  /** Samples that were numbered and never came. */
  missing = 0
  /** Samples that came twice or too late to be put in order. */
  dropped = 0
  restarts = 0
  #started = false
  #lastSeq = 0
  #lastTick = 0
  #lastArrivalS = 0
  /** Ticks between two neighbours, 0 before it is known. */
  #periodTicks = 0
  #lateRun = 0

  /**
   * @param announced declaration lines (`I` first) since the sample before, 0 without an `I`: a board that starts says all of them at once
   * @returns `inOrder`, `repeatedOrLate` (drop it) or `afterRestart`
   */
  classify(seq: number, tick: number, arrivalS: number, ticksPerSecond: number, announced: number): number {
    if (!this.#started) {
      this.#started = true
      this.#accept(seq, tick, arrivalS)
      return inOrder
    }
    const step = (seq - this.#lastSeq) & 0xffff
    const ticks = (tick - this.#lastTick) | 0
    const elapsedS = arrivalS - this.#lastArrivalS
    const elapsedTicks = elapsedS * ticksPerSecond
    const isLongSilence = elapsedTicks > tickModulus / 2
    const isBack =
      (ticks < 0 && !isLongSilence) ||
      // A coarse tick may stand still between neighbours, but then the number rises.
      (ticks === 0 && (step === 0 || step > seqModulus / 2)) ||
      (tick < this.#lastTick && ticks >>> 0 > elapsedTicks + wrapToleranceS * ticksPerSecond)
    if (isBack) return this.#back(seq, tick, arrivalS, step, ticks, elapsedS, announced)
    if (step === 1) {
      if (ticks > 0) this.#periodTicks = ticks
    } else this.missing += this.#lost(step, isLongSilence ? elapsedTicks : ticks)
    this.#accept(seq, tick, arrivalS)
    return inOrder
  }

  #back(
    seq: number,
    tick: number,
    arrivalS: number,
    step: number,
    ticks: number,
    elapsedS: number,
    announced: number,
  ): number {
    const lateBy = (seqModulus - step) & 0xffff
    const isSameCount =
      ticks <= 0 &&
      lateBy <= maxLateBy &&
      Math.abs(-ticks - lateBy * this.#periodTicks) <= Math.max(this.#periodTicks, 1)
    const isAnnounced = announced > 1 || (announced === 1 && !isSameCount)
    if (isSameCount && !isAnnounced && elapsedS < 2 && this.#lateRun < maxLateRun) {
      this.#lateRun++
      this.dropped++
      return repeatedOrLate
    }
    this.restarts++
    this.#periodTicks = 0
    this.#accept(seq, tick, arrivalS)
    return afterRestart
  }

  /** Samples lost over a step of the number; where the tick tells of whole wraps of the number, these are added. */
  #lost(step: number, ticks: number): number {
    const period = this.#periodTicks
    const wraps = period > 0 ? Math.round((ticks / period - step) / seqModulus) : 0
    const lost = step - 1 + wraps * seqModulus
    return Math.max(lost, 0)
  }

  #accept(seq: number, tick: number, arrivalS: number): void {
    this.#lastSeq = seq
    this.#lastTick = tick
    this.#lastArrivalS = arrivalS
    this.#lateRun = 0
  }
}
