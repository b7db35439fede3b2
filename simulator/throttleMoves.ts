/** A move of the throttle in one direction. */
export interface ThrottleMove {
  startIndex: number
  endIndex: number
  fromPct: number
  toPct: number
  /** Fastest rate over a tenth of a second within the move, %/s, positive both ways. */
  ratePctS: number
  opening: boolean
}

/** Least rate and size of a tip-in by definition, and the band in which a judge may see it either way. */
export const tipLimits = Object.freeze({ ratePctS: 40, sizePct: 8, borderline: 0.2 })

/** Trembling of the foot by this much within a move is no turn, %. */
const turnPct = 1
/** A foot that rests this long has ended its move, s. */
const restS = 0.15

/** Finds the moves that are fast and large enough, or nearly, to be a tip-in or tip-out, on the true throttle. */
export function findThrottleMoves(timeS: Float64Array, throttlePct: Float32Array): ThrottleMove[] {
  const out: ThrottleMove[] = []
  const n = timeS.length
  if (n < 3) return out
  const window = Math.max(1, Math.round(0.1 / (timeS[1] - timeS[0])))
  let i = 1
  while (i < n) {
    const direction = Math.sign(throttlePct[i] - throttlePct[i - 1])
    if (direction === 0) {
      i++
      continue
    }
    const start = i - 1
    let peak = i
    for (; i < n && (throttlePct[i] - throttlePct[peak]) * direction > -turnPct; i++) {
      if ((throttlePct[i] - throttlePct[peak]) * direction > 0) peak = i
      else if (timeS[i] - timeS[peak] > restS) break
    }
    const move = fastPart(timeS, throttlePct, start, peak, direction, window)
    if (move) out.push(move)
    i = Math.max(peak + 1, start + 2)
  }
  return out
}

/** The part of a move that is fast enough; undefined if there is none of the size. */
function fastPart(
  timeS: Float64Array,
  throttlePct: Float32Array,
  start: number,
  end: number,
  direction: number,
  window: number,
): ThrottleMove | undefined {
  const { ratePctS, sizePct, borderline } = tipLimits
  const leastRate = ratePctS * (1 - borderline)
  const leastSize = sizePct * (1 - borderline)
  if ((throttlePct[end] - throttlePct[start]) * direction < leastSize) return undefined
  let fastest = 0
  let first = -1
  let last = -1
  for (let i = start; i < end; i++) {
    const j = Math.min(i + window, end)
    const rate = ((throttlePct[j] - throttlePct[i]) * direction) / (timeS[j] - timeS[i])
    if (rate > leastRate) {
      if (first < 0) first = i
      last = j
    }
    if (j - i === window && rate > fastest) fastest = rate
  }
  if (first < 0) return undefined
  first = onsetOf(throttlePct, first, last, direction)
  const size = (throttlePct[last] - throttlePct[first]) * direction
  if (fastest === 0) fastest = size / (timeS[last] - timeS[first])
  if (size < leastSize || fastest < leastRate) return undefined
  return {
    startIndex: first,
    endIndex: last,
    fromPct: throttlePct[first],
    toPct: throttlePct[last],
    ratePctS: fastest,
    opening: direction > 0,
  }
}

/**
 * Where a fast part began: the window looks ahead, so that its first samples may still be at rest, and a foot at rest trembles. The line through a tenth
 * and a half of the way meets the start.
 */
function onsetOf(throttlePct: Float32Array, first: number, last: number, direction: number): number {
  const travelled = (i: number) => (throttlePct[i] - throttlePct[first]) * direction
  const size = travelled(last)
  let tenth = first
  while (tenth < last && travelled(tenth) < 0.1 * size) tenth++
  let half = tenth
  while (half < last && travelled(half) < 0.5 * size) half++
  return Math.max(first, Math.floor(tenth - (half - tenth) / 4))
}
