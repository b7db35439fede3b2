import type { Target } from '../contract/car.ts'

/**
 * A caution waits until the mixture is surely out of its band: by the doubt of a reading, λ (common practice, no source). Of a mean over less calm
 * time than makes it sure the doubt is the more, by the square of what is missing: what is far out is told sooner. Chosen here.
 */
const CAUTION_DOUBT = 0.01
/** Nothing is told of a mean after less calm time than this, s, where it is not sure sooner. Chosen here. */
const LEAST_CALM_S = 2
/** A caution ends, and is not raised, when λ's mean over so short a time is back in the band: the owner has done something, or the road has. Chosen here, s. */
const NEWEST_MEAN_S = 0.5

/** Times of one state's mean, s: it goes over so much calm time, whatever came between, and is sure after so much. */
export interface CalmMeanTimes {
  readonly overS: number
  readonly sureS: number
}

/**
 * λ of one operating state over its calm moments, for the cautions: they are told of a state's mixture, not of a place in its map, which is never flat.
 * NaN as long as too little calm time was seen.
 */
export class CalmMean {
  readonly #overS: number
  readonly #sureS: number
  #lambda = Number.NaN
  /** The same over the last moments only. */
  #newest = Number.NaN
  #seconds = 0

  constructor({ overS, sureS }: CalmMeanTimes) {
    this.#overS = overS
    this.#sureS = sureS
  }

  /** Takes a reading that stands for so long, s. */
  add(lambda: number, stepS: number): void {
    this.#seconds += stepS
    const share = Math.min(1, stepS / Math.min(this.#overS, this.#seconds))
    this.#lambda = Number.isNaN(this.#lambda) ? lambda : this.#lambda + share * (lambda - this.#lambda)
    const newestShare = Math.min(1, stepS / NEWEST_MEAN_S)
    this.#newest = Number.isNaN(this.#newest) ? lambda : this.#newest + newestShare * (lambda - this.#newest)
  }

  /** What a caution of too lean a state is told of: the lesser of the two means, so that it ends as λ is back. */
  get leanest(): number {
    return this.#isKnown ? Math.min(this.#lambda, this.#newest) : Number.NaN
  }

  /** What a caution of too rich a state is told of: the greater of the two means. */
  get richest(): number {
    return this.#isKnown ? Math.max(this.#lambda, this.#newest) : Number.NaN
  }

  /** λ over which the state is surely too lean. */
  leanOver(target: Target): number {
    return target.lambda + target.lean + this.#doubt
  }

  /** λ under which the state is surely too rich. */
  richUnder(target: Target): number {
    return target.lambda - target.rich - this.#doubt
  }

  get #isKnown(): boolean {
    return this.#seconds >= Math.min(LEAST_CALM_S, this.#sureS)
  }

  get #doubt(): number {
    return CAUTION_DOUBT * Math.max(1, this.#sureS / this.#seconds) ** 2
  }
}
