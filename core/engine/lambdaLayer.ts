import { trust } from './lambdaStage.ts'
import type { PointHistory } from './pointHistory.ts'

/** Total delay from cause to reading: a + b / (rpm × kPa); the part with b is a pipe that the exhaust flow empties. */
export interface DelayLaw {
  readonly aS: number
  readonly bSRpmKpa: number
}

/**
 * Delay of an unknown car: computed for three engines in the reference pack (exhaust-delay: 0.57, 0.11 and 0.03 s, fitted b 15 700) with shorter
 * pipes of sensors near the manifold also in mind, and a sensor lag of common practice in `aS`.
 */
export const priorDelayLaw: DelayLaw = Object.freeze({ aS: 0.11, bSRpmKpa: 10_500 })

/** No gas is awaited longer than this, s: the engine has stopped. */
const MOST_DELAY_S = 2

/** Readings of the sensor, waiting to be laid at the moments that caused them. */
export interface LambdaLayer {
  /** Number of the next point that has no λ laid yet. */
  next: number
  /** A reading, or NaN with its reason. Times ascend. */
  add(bank: 0 | 1, timeS: number, lambda: number, reason: number): void
  /** Lays λ on all points whose gas has arrived by `nowS`. */
  layUntil(nowS: number): void
  /** Lays NaN on the points left: a gap or the end. */
  finish(): void
}

const CAPACITY = 4096
const MASK = CAPACITY - 1

export interface LambdaLayerOptions {
  readonly history: PointHistory
  readonly law: () => DelayLaw
  readonly bankCount: 1 | 2
  /** Two readings farther apart than this are not bridged, s. */
  readonly bridgeS: number
}

export function createLambdaLayer(options: LambdaLayerOptions): LambdaLayer {
  const { history, law, bankCount, bridgeS } = options
  const { mask, timeS: pointS, flowSum, arrivalS } = history
  const times = [new Float64Array(CAPACITY), new Float64Array(CAPACITY)]
  const lambdas = [new Float64Array(CAPACITY), new Float64Array(CAPACITY)]
  const reasons = [new Uint8Array(CAPACITY), new Uint8Array(CAPACITY)]
  const ends = [0, 0]
  const cursors = [0, 0]
  // Point at which the flow figure passes the awaited sum; moves forward only, so that no reading is laid before an earlier one.
  let ahead = 0
  let lastArrivalS = Number.NEGATIVE_INFINITY

  /** When the gas of point `n` reaches the sensor; NaN while that lies in the future. */
  function arrivalOf(n: number): number {
    const { aS, bSRpmKpa } = law()
    const at = n & mask
    const wanted = flowSum[at] + bSRpmKpa
    if (ahead < n) ahead = n
    const latestS = pointS[at] + MOST_DELAY_S
    while (ahead < history.end && flowSum[ahead & mask] < wanted && pointS[ahead & mask] < latestS) ahead++
    if (ahead >= history.end) return Number.NaN
    const right = ahead & mask
    const left = (ahead - 1) & mask
    let passedS = pointS[right]
    if (ahead > n && flowSum[right] > wanted && flowSum[right] > flowSum[left]) {
      passedS -=
        ((flowSum[right] - wanted) / (flowSum[right] - flowSum[left])) * (pointS[right] - pointS[left])
    }
    return Math.min(passedS, latestS) + aS
  }

  function lay(bank: number, n: number, at: number): void {
    const t = times[bank]
    let cursor = cursors[bank]
    while (cursor + 1 < ends[bank] && t[(cursor + 1) & MASK] <= at) cursor++
    cursors[bank] = cursor
    const place = n & mask
    history.lambda[bank][place] = Number.NaN
    history.reason[bank][place] = trust.gap
    if (cursor >= ends[bank] || ends[bank] - cursor > CAPACITY) return
    const i = cursor & MASK
    const leftS = t[i]
    if (leftS > at) return
    const leftLambda = lambdas[bank][i]
    if (Number.isNaN(leftLambda)) {
      history.reason[bank][place] = at - leftS > bridgeS ? trust.gap : reasons[bank][i]
      return
    }
    if (cursor + 1 < ends[bank]) {
      const k = (cursor + 1) & MASK
      const rightLambda = lambdas[bank][k]
      if (!Number.isNaN(rightLambda) && t[k] - leftS <= bridgeS) {
        history.lambda[bank][place] =
          leftLambda + ((rightLambda - leftLambda) * (at - leftS)) / (t[k] - leftS)
        history.reason[bank][place] = trust.ok
        return
      }
    }
    if (at - leftS <= bridgeS / 2) {
      history.lambda[bank][place] = leftLambda
      history.reason[bank][place] = trust.ok
    }
  }

  const layer: LambdaLayer = {
    next: 0,
    add(bank, timeS, lambda, reason) {
      const end = ends[bank]
      const i = end & MASK
      times[bank][i] = timeS
      lambdas[bank][i] = lambda
      reasons[bank][i] = reason
      ends[bank] = end + 1
      if (ends[bank] - cursors[bank] > CAPACITY) cursors[bank] = ends[bank] - CAPACITY
    },
    layUntil(nowS) {
      while (layer.next < history.end) {
        const arrival = arrivalOf(layer.next)
        // One reading beyond the arrival is awaited, so that λ can be put between two.
        if (!(arrival + bridgeS / 2 <= nowS)) return
        place(arrival)
      }
    },
    finish() {
      while (layer.next < history.end) {
        const arrival = arrivalOf(layer.next)
        place(!Number.isNaN(arrival) ? arrival : Number.POSITIVE_INFINITY)
      }
      ahead = history.end
      lastArrivalS = Number.NEGATIVE_INFINITY
    },
  }

  function place(arrival: number): void {
    const at = Math.max(arrival, lastArrivalS)
    if (at < Number.POSITIVE_INFINITY) lastArrivalS = at
    arrivalS[layer.next & mask] = at
    for (let bank = 0; bank < bankCount; bank++) lay(bank, layer.next, at)
    layer.next++
  }

  return layer
}
