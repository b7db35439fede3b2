import type { SecondCar, SecondTruth, Weather } from './engine.ts'
import { judgePatterns } from './truePatterns.ts'

/** True when the throttle stayed within 3 % over the last second. */
export function stillSince(throttle: Float64Array, i: number, stepS: number): boolean {
  let low = throttle[i]
  let high = low
  for (let k = Math.max(0, i - Math.round(1 / stepS)); k < i; k += 10) {
    low = Math.min(low, throttle[k])
    high = Math.max(high, throttle[k])
  }
  return high - low < 3
}

export interface TrueSignals {
  throttle: Float64Array
  rpm: Float64Array
  map: Float64Array
  /** How far λ is from where it settles. */
  unsettled: Float64Array
  /** λ without wander and scatter. */
  lambdaStill: Float64Array
}

/** Limits of the trade: a fast move, its end, and the least length of a state. */
const tipRatePctS = 40
const tipSizePct = 8
/** Nearer to these limits than this share counts as borderline. */
const borderlineShare = 0.2
const settledWithin = 0.03
const mostTipS = 3
const leastStateS = 0.5

/** Operating states of the noise-free signals by the definitions of the trade, and the fast moves of the throttle over them. */
export function labelStates(
  truth: SecondTruth,
  car: SecondCar,
  signals: TrueSignals,
  weather: Weather,
): void {
  const { throttle, rpm, map } = signals
  const stepS = truth.timeS[1] - truth.timeS[0]
  const raw: string[] = []
  let before = ''
  for (let i = 0; i < throttle.length; i++) {
    const load = map[i] / weather.pressureKpa
    const low = 0.6 + (before === 'cruise' ? car.loadGap : -car.loadGap)
    const high = 0.85 + (before === 'power' ? -car.loadGap : car.loadGap)
    if (throttle[i] < 1.5) before = rpm[i] < 1.4 * car.idleRpm ? 'idle' : 'overrun'
    else before = load < low ? 'cruise' : load > high ? 'power' : 'part_throttle'
    raw.push(before)
  }
  // A visit under half a second joins what came before it.
  let joined = raw[0]
  for (let i = 0; i < raw.length; ) {
    let end = i
    while (end < raw.length && raw[end] === raw[i]) end++
    if ((end - i) * stepS >= leastStateS) joined = raw[i]
    for (let k = i; k < end; k++) truth.state[k] = joined
    i = end
  }
  const plain = [...truth.state]
  layTips(truth, signals)
  judgePatterns(truth, plain, signals)
}

/** Greatest rate over a tenth of a second within an opening, %/s. */
function fastestIn(throttle: Float64Array, onset: number, end: number, back: number, stepS: number): number {
  let fastest = 0
  for (let i = onset; i <= end; i++)
    fastest = Math.max(fastest, (throttle[i] - throttle[Math.max(0, i - back)]) / (back * stepS))
  return fastest
}

/** So near to the limits that a judge may see it either way. */
const isBorderline = (ratePctS: number, sizePct: number) =>
  ratePctS < tipRatePctS * (1 + borderlineShare) || sizePct < tipSizePct * (1 + borderlineShare)

/** Lays each fast move over the states, from its onset until λ is back where it settles. */
function layTips(truth: SecondTruth, { throttle, unsettled }: TrueSignals): void {
  const n = throttle.length
  const stepS = truth.timeS[1] - truth.timeS[0]
  const back = Math.round(0.1 / stepS)
  let i = back
  while (i < n) {
    const rate = (throttle[i] - throttle[i - back]) / (back * stepS)
    if (Math.abs(rate) <= tipRatePctS) {
      i++
      continue
    }
    const direction = Math.sign(rate)
    let onset = i - back
    while (onset < i && (throttle[onset + 1] - throttle[onset]) * direction < 0.05) onset++
    let end = i
    while (end + 1 < n && (throttle[end + 1] - throttle[end]) * direction > 0.05) end++
    const size = (throttle[end] - throttle[onset]) * direction
    let over = end
    if (size > tipSizePct) {
      if (direction > 0)
        truth.tipIns.push({
          startS: truth.timeS[onset],
          endS: truth.timeS[end],
          ratePctS: size / (truth.timeS[end] - truth.timeS[onset]),
          borderline: isBorderline(fastestIn(throttle, onset, end, back, stepS), size),
          pattern: null,
          patternSure: false,
        })
      const most = Math.min(n - 1, onset + Math.round(mostTipS / stepS))
      while (over < most && unsettled[over] > settledWithin) over++
      truth.state.fill(direction > 0 ? 'tip_in' : 'tip_out', onset, over + 1)
    }
    i = end + back
  }
}
