import type { ColumnHistory } from './columnHistory.ts'

/** A hole in time longer than this is a gap, however slow the channel. */
const leastGapS = 0.5
/** …and longer than so many of the channel's usual intervals. */
const gapIntervals = 4

/** Marks a point of the common base where this channel has no sample and its line goes on. */
export const noSample = Number.POSITIVE_INFINITY

/** Common x of a reduced stretch: two points for each pixel column. */
export function reducedTimes(fromS: number, toS: number, columnCount: number): Float64Array {
  const times = new Float64Array(2 * columnCount)
  const stepS = (toS - fromS) / columnCount
  for (let i = 0; i < columnCount; i++) {
    times[2 * i] = fromS + i * stepS + stepS * 0.25
    times[2 * i + 1] = fromS + i * stepS + stepS * 0.75
  }
  return times
}

/**
 * Reduces one channel to two points for each pixel column, least and most in the order they came, so that a short spike survives. Columns in
 * a gap are NaN; columns merely between two samples are `noSample`. A NaN reading among readings makes a gap only if its column has nothing else.
 */
export function reduceColumn(
  history: ColumnHistory,
  name: string,
  fromS: number,
  toS: number,
  columnCount: number,
): Float32Array {
  const target = new Float32Array(2 * columnCount).fill(noSample)
  const column = history.column(name)
  if (!column) return target.fill(Number.NaN)
  const { timeS } = history
  const stepS = (toS - fromS) / columnCount
  // One sample before and after the window, so that the line reaches its edges.
  const start = Math.max(0, history.indexAt(fromS) - 1)
  const end = Math.min(history.count, history.indexAt(toS) + 1)
  const gapS = Math.max(leastGapS, gapIntervals * usualIntervalS(history, start, end))
  let lastValueS = Number.NEGATIVE_INFINITY
  let lastColumn = -1
  let i = start
  while (i < end) {
    const at = columnOf(timeS[i], fromS, stepS, columnCount)
    let least = Number.POSITIVE_INFINITY
    let most = Number.NEGATIVE_INFINITY
    let leastIndex = -1
    let mostIndex = -1
    let firstS = Number.NaN
    let newestS = lastValueS
    for (; i < end && columnOf(timeS[i], fromS, stepS, columnCount) === at; i++) {
      const value = column[i]
      if (Number.isNaN(value)) continue
      if (Number.isNaN(firstS)) firstS = timeS[i]
      newestS = timeS[i]
      if (value < least) {
        least = value
        leastIndex = i
      }
      if (value > most) {
        most = value
        mostIndex = i
      }
    }
    if (leastIndex < 0) continue
    if (firstS - lastValueS > gapS && at > 0) breakLine(target, lastColumn, at)
    target[2 * at] = leastIndex <= mostIndex ? least : most
    target[2 * at + 1] = leastIndex <= mostIndex ? most : least
    lastValueS = newestS
    lastColumn = at
  }
  if (Number.isFinite(lastValueS) && toS - lastValueS > gapS) breakLine(target, lastColumn, columnCount)
  return target
}

/** Puts gaps into the columns strictly between two, or into the first of them where they touch. */
function breakLine(target: Float32Array, before: number, after: number): void {
  if (after - before > 1) target.fill(Number.NaN, 2 * (before + 1), 2 * after)
}

function columnOf(timeS: number, fromS: number, stepS: number, columnCount: number): number {
  return Math.min(columnCount - 1, Math.max(0, Math.floor((timeS - fromS) / stepS)))
}

function usualIntervalS(history: ColumnHistory, start: number, end: number): number {
  const count = end - start
  if (count < 3) return 0
  // The middle of some intervals, so that a gap does not count as usual.
  const probes = Math.min(31, count - 1)
  const intervals = new Float64Array(probes)
  for (let k = 0; k < probes; k++) {
    const i = start + 1 + Math.floor((k * (count - 1)) / probes)
    intervals[k] = history.timeS[i] - history.timeS[i - 1]
  }
  intervals.sort()
  return intervals[probes >> 1]
}
