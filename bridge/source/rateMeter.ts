/** The shown rate is that of the last such window, s. */
const windowS = 2

/** Samples a second of one source, from its growing count. */
export interface RateMeter {
  /** Rate of the last whole window, Hz. */
  readonly hz: number
  look(nowS: number, samples: number): void
  /** The count begins anew. */
  restart(nowS: number): void
}

export function createRateMeter(): RateMeter {
  let hz = 0
  let atS = 0
  let before = 0
  return {
    get hz() {
      return hz
    },
    look(nowS, samples) {
      const passedS = nowS - atS
      if (passedS < windowS) return
      hz = Math.max(0, samples - before) / passedS
      atS = nowS
      before = samples
    },
    restart(nowS) {
      hz = 0
      atS = nowS
      before = 0
    },
  }
}
