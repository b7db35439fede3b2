import type { ConditionedRun } from './conditionedRun.ts'
import type { DelayWindows } from './delayEvents.ts'

/** Points in all windows together. */
export function pointsOf({ start, end, count }: DelayWindows): number {
  let points = 0
  for (let w = 0; w < count; w++) points += end[w] - start[w]
  return points
}

/** Leaves out windows in which λ is missing: a gap or a cold sensor would look like a move. */
export function dropUnread(run: ConditionedRun, windows: DelayWindows): DelayWindows {
  const { lambda, lambdaS, lambdaCount, timeS } = run
  const start: number[] = []
  const end: number[] = []
  let k = 0
  for (let w = 0; w < windows.count; w++) {
    const fromS = timeS[windows.start[w]]
    const toS = timeS[windows.end[w] - 1] + 1
    while (k > 0 && lambdaS[k] > fromS) k--
    while (k < lambdaCount && lambdaS[k] < fromS) k++
    let lastS = fromS
    let isWhole = k < lambdaCount
    for (let i = k; i < lambdaCount && lambdaS[i] <= toS; i++) {
      if (Number.isNaN(lambda[i])) continue
      if (lambdaS[i] - lastS > 0.25) isWhole = false
      lastS = lambdaS[i]
    }
    if (toS - lastS > 0.3) isWhole = false
    if (!isWhole) continue
    start.push(windows.start[w])
    end.push(windows.end[w])
  }
  const kept = start.length / Math.max(1, windows.count)
  return {
    start: Int32Array.from(start),
    end: Int32Array.from(end),
    count: start.length,
    events: Math.round(windows.events * kept),
  }
}

/** Number of the newest reading when each window begins, 0 if there was none: windows lie far apart in a long run. */
export function readingsAt(
  { timeS, lambdaS, lambdaCount }: ConditionedRun,
  windows: DelayWindows,
): Int32Array {
  const at = new Int32Array(windows.count)
  let k = 0
  for (let w = 0; w < windows.count; w++) {
    while (k < lambdaCount - 2 && lambdaS[k + 1] <= timeS[windows.start[w]]) k++
    at[w] = k
  }
  return at
}
