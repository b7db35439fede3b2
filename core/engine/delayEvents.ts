import type { ConditionedRun } from './conditionedRun.ts'

/** Stretches of a run in which the mixture was made to move, so that the delay shows. Indices into the run's columns, half-open. */
export interface DelayWindows {
  readonly start: Int32Array
  readonly end: Int32Array
  readonly count: number
  /** Separate moves of throttle or load within them. */
  readonly events: number
}

export interface DelayEventOptions {
  /** Time kept before and after a move, s. */
  readonly beforeS: number
  readonly afterS: number
  /** Longest window, s: longer ones are cut, so that slow drifts cancel within each. */
  readonly mostS: number
  /** Most points in all windows together; beyond it windows are thinned evenly over the run. */
  readonly mostPoints: number
}

/** Chosen here: the gas of idle arrives within a second, and the wall film has settled after two. */
export const defaultDelayEventOptions: Readonly<DelayEventOptions> = Object.freeze({
  beforeS: 0.6,
  afterS: 2.6,
  mostS: 5,
  mostPoints: 8000,
})

/** A move: so much throttle, load or engine speed within `MOVE_S`. */
const MOVE_S = 0.3
const MOVE_THROTTLE_PCT = 4
const MOVE_LOAD = 0.07
const MOVE_SPEED_SHARE = 0.12

/** Finds the windows. `load` is manifold pressure over the air outside, or its guess; NaN in all for a channel that is missing. */
export function findDelayWindows(
  run: ConditionedRun,
  load: Float64Array,
  options: DelayEventOptions = defaultDelayEventOptions,
): DelayWindows {
  const { count, timeS, throttlePct, rpm } = run
  const start: number[] = []
  const end: number[] = []
  const marks = new Uint8Array(count)
  let events = 0
  let back = 0
  let lastMoveS = Number.NEGATIVE_INFINITY
  for (let i = 0; i < count; i++) {
    while (back < i && timeS[i] - timeS[back] > MOVE_S) back++
    const throttleMoved = Math.abs(throttlePct[i] - throttlePct[back]) > MOVE_THROTTLE_PCT
    const loadMoved = Math.abs(load[i] - load[back]) > MOVE_LOAD
    const speedMoved = Number.isNaN(load[i]) && Math.abs(rpm[i] - rpm[back]) > MOVE_SPEED_SHARE * rpm[i]
    if (!throttleMoved && !loadMoved && !speedMoved) continue
    if (timeS[i] - lastMoveS > 0.5) events++
    lastMoveS = timeS[i]
    marks[i] = 1
  }
  let openFrom = -1
  let lastMark = -1
  const close = () => {
    if (openFrom < 0) return
    let to = lastMark
    while (to < count && timeS[to] - timeS[lastMark] <= options.afterS) to++
    let from = openFrom
    while (from > 0 && timeS[openFrom] - timeS[from - 1] <= options.beforeS) from--
    for (let a = from; a < to; ) {
      let b = a
      // A gap in time ends a window as well as its length.
      while (b < to && timeS[b] - timeS[a] < options.mostS && (b === a || timeS[b] - timeS[b - 1] < 0.2)) b++
      if (timeS[b - 1] - timeS[a] > 1) {
        start.push(a)
        end.push(b)
      }
      a = b
    }
    openFrom = -1
  }
  for (let i = 0; i < count; i++) {
    if (marks[i] === 0) continue
    if (openFrom >= 0 && timeS[i] - timeS[lastMark] > options.beforeS + options.afterS) close()
    if (openFrom < 0) openFrom = i
    lastMark = i
  }
  close()
  return thin(start, end, events, options.mostPoints)
}

/** So many of the windows, spread evenly over the run, that they have about so many points together. */
export function thinWindows({ start, end, events, count }: DelayWindows, mostPoints: number): DelayWindows {
  return thin(start, end, events, mostPoints, count)
}

function thin(
  start: ArrayLike<number>,
  end: ArrayLike<number>,
  events: number,
  mostPoints: number,
  count = start.length,
): DelayWindows {
  let total = 0
  for (let w = 0; w < count; w++) total += end[w] - start[w]
  const every = Math.max(1, total / mostPoints)
  const keptStart: number[] = []
  const keptEnd: number[] = []
  for (let k = 0; k < count; k += every) {
    const w = Math.floor(k)
    keptStart.push(start[w])
    keptEnd.push(end[w])
  }
  return {
    start: Int32Array.from(keptStart),
    end: Int32Array.from(keptEnd),
    count: keptStart.length,
    events: Math.round(events / every),
  }
}
