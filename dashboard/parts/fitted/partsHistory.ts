import type { Swap } from '../../../core/contract/api.ts'
import type { Fitted } from '../../../core/contract/car.ts'

/** Parts that were fitted together for a time. */
export interface FormerSet {
  /** When the set was complete, ISO 8601; undefined for what was there before the log begins. */
  since: string | undefined
  /** When its first part was taken out; undefined for the set that is fitted now. */
  until: string | undefined
  fitted: Fitted
  /** The changes that made it. */
  swaps: readonly Swap[]
}

/** Swaps less than this apart are one job at the bench, h. Chosen here. */
const oneJobH = 3

/**
 * The sets that were fitted, oldest first, the last being today's, worked out backwards from what is fitted now. Swaps of one job at
 * the bench make one set.
 */
export function formerSets(fitted: Fitted, swaps: readonly Swap[]): FormerSet[] {
  const ordered = [...swaps].sort((a, b) => Date.parse(a.at) - Date.parse(b.at))
  const sets: FormerSet[] = []
  let now: Fitted = { ...fitted }
  let until: string | undefined
  for (let end = ordered.length; end > 0; ) {
    let start = end - 1
    while (start > 0 && hoursBetween(ordered[start - 1], ordered[start]) < oneJobH) start--
    const job = ordered.slice(start, end)
    sets.unshift({ since: job[job.length - 1].at, until, fitted: now, swaps: job })
    now = before(now, job)
    until = job[0].at
    end = start
  }
  sets.unshift({ since: undefined, until, fitted: now, swaps: [] })
  return sets
}

/** What was fitted at a moment: the last set that was complete by then. */
export function fittedAt(sets: readonly FormerSet[], at: string): Fitted {
  const timeMs = Date.parse(at)
  const set = sets.findLast(({ since }) => since === undefined || Date.parse(since) <= timeMs)
  return (set ?? sets[0]).fitted
}

/** Parts by name in which two sets differ. */
export function differingParts(a: Fitted, b: Fitted): string[] {
  const names = [...new Set([...Object.keys(a), ...Object.keys(b)])]
  return names.filter((name) => JSON.stringify(a[name]) !== JSON.stringify(b[name]))
}

function before(fitted: Fitted, job: readonly Swap[]): Fitted {
  const former: Fitted = { ...fitted }
  for (const swap of [...job].reverse()) {
    if (swap.from) former[swap.part] = swap.from
    else delete former[swap.part]
  }
  return former
}

function hoursBetween(earlier: Swap, later: Swap): number {
  return (Date.parse(later.at) - Date.parse(earlier.at)) / 3_600_000
}
