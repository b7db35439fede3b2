/** Step taken before the clock has shown one, s. */
const firstStepS = 1e-3

/** Times of a source's own clock laid from 0 on, always rising. */
export interface RisingClock {
  /** @returns the time of a sample at which the source's clock said so, s from the first one */
  lay(ownS: number): number
  /** Times the clock went back. */
  readonly jumps: number
}

/** A clock that went back, or stood still, goes on by the last step. */
export function createRisingClock(): RisingClock {
  let lastS = Number.NaN
  let offsetS = Number.NaN
  let stepS = firstStepS
  let jumps = 0
  return {
    get jumps() {
      return jumps
    },
    lay(ownS) {
      const aheadS = ownS - lastS
      if (Number.isNaN(offsetS)) offsetS = -ownS
      else if (aheadS > 0) stepS = aheadS
      else {
        if (aheadS < 0) jumps++
        offsetS += stepS - aheadS
      }
      lastS = ownS
      return ownS + offsetS
    },
  }
}
