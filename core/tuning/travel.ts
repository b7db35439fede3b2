/** How far a signal travelled over the last stretch of time. */
export interface Travel {
  /** Takes the next value (times ascend); greatest less least since `windowS` before it. 0 for NaN, which is passed over. */
  over(timeS: number, value: number): number
}

const BLOCKS = 16
const BLOCKS_PER_WINDOW = 10

/** Keeps the least and greatest value of blocks of a tenth of the window. O(1) a value, no allocation. */
export function createTravel(windowS: number): Travel {
  const blockS = windowS / BLOCKS_PER_WINDOW
  const startS = new Float64Array(BLOCKS).fill(Number.NEGATIVE_INFINITY)
  const leastOf = new Float64Array(BLOCKS)
  const mostOf = new Float64Array(BLOCKS)
  let block = 0
  return {
    over(timeS, value) {
      if (Number.isNaN(value)) return 0
      if (timeS - startS[block] >= blockS) {
        block = (block + 1) % BLOCKS
        startS[block] = timeS
        leastOf[block] = value
        mostOf[block] = value
      } else {
        if (value < leastOf[block]) leastOf[block] = value
        if (value > mostOf[block]) mostOf[block] = value
      }
      const sinceS = timeS - windowS - 0.5 * blockS
      let least = value
      let most = value
      for (let i = 0; i < BLOCKS; i++) {
        if (startS[i] < sinceS) continue
        if (leastOf[i] < least) least = leastOf[i]
        if (mostOf[i] > most) most = mostOf[i]
      }
      return most - least
    },
  }
}
