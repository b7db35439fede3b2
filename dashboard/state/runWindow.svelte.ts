/** Length of the first look at a long run, and up to which a run is shown whole, s. Chosen here. */
const firstLookS = 120
const shortRunS = 150
/** Closer than this nothing is to be seen, s. */
const leastLengthS = 0.5

/** The stretch of a run that its charts show in detail. */
export class RunWindow {
  #chosen = $state.raw<readonly [number, number] | undefined>(undefined)
  readonly #wholeOf: () => readonly [number, number]

  /** @param wholeOf begin and end of the run, s */
  constructor(wholeOf: () => readonly [number, number]) {
    this.#wholeOf = wholeOf
  }

  get whole(): readonly [number, number] {
    return this.#wholeOf()
  }
  get shown(): readonly [number, number] {
    if (this.#chosen) return this.#chosen
    const [fromS, toS] = this.whole
    return toS - fromS <= shortRunS ? [fromS, toS] : [fromS, fromS + firstLookS]
  }

  /** Shows a stretch, kept within the run; undefined shows all of it. */
  set(next: readonly [number, number] | undefined): void {
    const [firstS, lastS] = this.whole
    if (!next) {
      this.#chosen = [firstS, lastS]
      return
    }
    const length = Math.min(lastS - firstS, Math.max(leastLengthS, next[1] - next[0]))
    const fromS = Math.min(lastS - length, Math.max(firstS, next[0]))
    this.#chosen = [fromS, fromS + length]
  }

  /** @param aroundS stays where it is, if it is in sight; else the middle does */
  zoom(factor: number, aroundS: number): void {
    const [fromS, toS] = this.shown
    const middleS = aroundS > fromS && aroundS < toS ? aroundS : (fromS + toS) / 2
    this.set([middleS - (middleS - fromS) * factor, middleS + (toS - middleS) * factor])
  }

  /** Moves by a share of its length. */
  shift(share: number): void {
    const [fromS, toS] = this.shown
    const byS = (toS - fromS) * share
    this.set([fromS + byS, toS + byS])
  }

  /** Brings a moment into sight without changing the length. */
  include(timeS: number): void {
    const [fromS, toS] = this.shown
    if (timeS > fromS && timeS < toS) return
    const half = (toS - fromS) / 2
    this.#chosen = [timeS - half, timeS + half]
  }

  /** While it plays: turns the page when the cursor leaves it. */
  follow(timeS: number): void {
    const [fromS, toS] = this.shown
    if (timeS >= fromS && timeS <= toS) return
    const length = toS - fromS
    this.#chosen = [timeS - length * 0.05, timeS + length * 0.95]
  }
}
