import { readableLine } from './readableLine.ts'

/** Speeds that boards and receivers are set to, the commonest first; common practice, no source. */
export const usualSpeeds: readonly number[] = Object.freeze([
  115_200, 921_600, 9600, 57_600, 38_400, 4800, 19_200, 230_400,
])

export interface SpeedSearchOptions {
  /** Speeds to try, in this order. Default `usualSpeeds`. */
  speeds?: readonly number[]
  /** Bytes without one readable line must come for so long before the first speed is left, s. Default 3: a board that restarts when opened is through then. */
  patienceS?: number
  /** The same for each further speed, s. Default 1.5: boards of our format repeat who they are every 0.25 s. */
  tryS?: number
  /** A source that was read before is left alone for so long, s. Default 20: noise of a starter motor is over by then. */
  goodPatienceS?: number
  /** Rounds over all speeds, then it stays where it began until the wire is opened anew. Default 2. */
  rounds?: number
}

export const defaultSpeedSearch = Object.freeze({
  speeds: usualSpeeds,
  patienceS: 3,
  tryS: 1.5,
  goodPatienceS: 20,
  rounds: 2,
})

/** Bytes that come in longer pauses than this do not count as coming, s. */
const pauseS = 1
/** Bytes kept of each speed, to see whether they are text. */
const sampleBytes = 2000
/** Fewer bytes say nothing about a speed. */
const leastBytes = 20

/**
 * Finds the speed of a port that yields bytes and no readable line. It acts only on bytes that keep coming: silence is waited for, text that is merely of another
 * format stays at its speed, and a source with a readable line now and then is never disturbed.
 */
export class SpeedSearch {
  readonly #options: Required<SpeedSearchOptions>
  /** In the order in which they are tried, the present one first. */
  #order: number[]
  #at = 0
  #round = 0
  #speed: number
  #sample = new Uint8Array(sampleBytes)
  #sampled = 0
  #firstS = Number.NaN
  #lastS = Number.NEGATIVE_INFINITY
  #good = 0
  #isGood = false
  #isText = false
  #isOver = false

  constructor(speed: number, options: SpeedSearchOptions = {}) {
    this.#options = { ...defaultSpeedSearch, ...options }
    this.#speed = speed
    this.#order = this.#orderFrom(speed)
  }

  get speed(): number {
    return this.#speed
  }

  /** True once a readable line came at this speed. */
  get isGood(): boolean {
    return this.#isGood
  }

  /** What is under way or was found, in words; empty when there is nothing to say. */
  get text(): string {
    if (this.#isGood) return ''
    if (this.#isText) return `text of another format at ${this.#speed} baud: say below what its columns mean`
    if (this.#isOver)
      return `no usual speed gives a readable line (tried ${this.#order.join(', ')} baud): start with --baud N if it has another`
    if (this.#at === 0 && this.#round === 0) return ''
    return `no readable line yet: trying ${this.#speed} baud (${this.#at + 1} of ${this.#order.length})`
  }

  /** Bytes as they came. */
  take(chunk: Uint8Array, arrivalS: number): void {
    if (Number.isNaN(this.#firstS) || arrivalS - this.#lastS > pauseS) this.#forget(arrivalS)
    this.#lastS = arrivalS
    const room = Math.min(chunk.length, sampleBytes - this.#sampled)
    this.#sample.set(chunk.subarray(0, room), this.#sampled)
    this.#sampled += room
  }

  /**
   * To be asked a few times a second.
   * @param good readable lines so far, whatever the speed
   * @returns the speed to go on with, undefined to stay
   */
  look(nowS: number, good: number): number | undefined {
    if (good !== this.#good) {
      this.#good = good
      this.#isGood = true
      this.#isText = false
      this.#isOver = false
      this.#round = 0
      this.#order = this.#orderFrom(this.#speed)
      this.#at = 0
      this.#forget(nowS)
      return undefined
    }
    const { patienceS, tryS, goodPatienceS, rounds } = this.#options
    const isFirst = this.#at === 0 && this.#round === 0
    const waitS = this.#isGood ? goodPatienceS : isFirst ? patienceS : tryS
    if (!(nowS - this.#firstS >= waitS) || nowS - this.#lastS > pauseS || this.#sampled < leastBytes)
      return undefined
    const text = Buffer.from(this.#sample.subarray(0, this.#sampled)).toString('latin1')
    this.#forget(nowS)
    if (readableLine(text) !== undefined) {
      this.#isText = true
      return undefined
    }
    this.#isText = false
    if (this.#isOver) return undefined
    this.#isGood = false
    this.#at++
    if (this.#at === this.#order.length) {
      this.#at = 0
      this.#round++
      this.#isOver = this.#round === rounds
    }
    this.#speed = this.#order[this.#at]
    this.#firstS = Number.NaN
    return this.#speed
  }

  /** The wire was opened anew, or its lines are read in another way: everything may be tried again. */
  restart(): void {
    this.#order = this.#orderFrom(this.#speed)
    this.#at = 0
    this.#round = 0
    this.#isOver = false
    this.#isText = false
    this.#firstS = Number.NaN
  }

  #orderFrom(speed: number): number[] {
    return [speed, ...this.#options.speeds.filter((each) => each !== speed)]
  }

  #forget(nowS: number): void {
    this.#firstS = nowS
    this.#sampled = 0
  }
}
