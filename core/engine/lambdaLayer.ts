import type { DelayLaw, FlowModel } from './delayLaw.ts'
import { trust } from './lambdaStage.ts'
import type { PointHistory } from './pointHistory.ts'

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
  const { mask, timeS: pointS, flowSum, flowRate, arrivalS } = history
  const times = [new Float64Array(CAPACITY), new Float64Array(CAPACITY)]
  const lambdas = [new Float64Array(CAPACITY), new Float64Array(CAPACITY)]
  const reasons = [new Uint8Array(CAPACITY), new Uint8Array(CAPACITY)]
  const ends = [0, 0]
  const cursors = [0, 0]
  // Point at which the flow figure passes the awaited sum; moves forward only, so that no reading is laid before an earlier one.
  let ahead = 0
  // Fields of an object, so that no number is boxed at each point.
  const placed = {
    lastArrivalS: Number.NEGATIVE_INFINITY,
  }
  const waiting = { point: -1, end: -1, arrivalS: Number.NaN, law: undefined as DelayLaw | undefined }

  /** When the gas of point `n` reaches the sensor; NaN while that lies in the future. */
  function arrivalOf(n: number): number {
    const { aS, bSRpmKpa, flow } = law()
    const at = n & mask
    const causeS = pointS[at]
    const latestS = causeS + MOST_DELAY_S
    if (flow === 'cause') return Math.min(causeS + bSRpmKpa / flowRate[at], latestS) + aS
    if (ahead < n) ahead = n
    const wanted = flow === 'plug' ? flowSum[at] + bSRpmKpa : causeS
    while (
      ahead < history.end &&
      passed(flow, bSRpmKpa, ahead & mask) < wanted &&
      pointS[ahead & mask] < latestS
    )
      ahead++
    if (ahead >= history.end) return Number.NaN
    const right = ahead & mask
    const left = (ahead - 1) & mask
    let passedS = pointS[right]
    if (ahead > n) {
      const over = passed(flow, bSRpmKpa, right) - wanted
      const step = passed(flow, bSRpmKpa, right) - passed(flow, bSRpmKpa, left)
      if (over > 0 && step > 0) passedS -= Math.min(1, over / step) * (pointS[right] - pointS[left])
    }
    return Math.min(passedS, latestS) + aS
  }

  /** The same, worked out once for a point that waits: a known arrival stays, an unknown one can only come with a new point. */
  function awaitedOf(n: number): number {
    const isKnown = waiting.point === n && waiting.law === law()
    if (isKnown && (!Number.isNaN(waiting.arrivalS) || waiting.end === history.end)) return waiting.arrivalS
    waiting.point = n
    waiting.law = law()
    waiting.end = history.end
    waiting.arrivalS = arrivalOf(n)
    return waiting.arrivalS
  }

  /** What must reach the awaited figure at a point: the flow summed up, or the moment whose gas arrives there. */
  function passed(flow: FlowModel, bSRpmKpa: number, at: number): number {
    return flow === 'plug' ? flowSum[at] : pointS[at] - bSRpmKpa / flowRate[at]
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
        const arrival = awaitedOf(layer.next)
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
      placed.lastArrivalS = Number.NEGATIVE_INFINITY
    },
  }

  function place(arrival: number): void {
    const at = Math.max(arrival, placed.lastArrivalS)
    if (at < Number.POSITIVE_INFINITY) placed.lastArrivalS = at
    arrivalS[layer.next & mask] = at
    for (let bank = 0; bank < bankCount; bank++) lay(bank, layer.next, at)
    layer.next++
  }

  return layer
}
