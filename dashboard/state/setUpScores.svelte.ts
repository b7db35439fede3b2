import type { RunSummary, Swap, Tank } from '../../core/contract/api.ts'
import type { AnalysisResult } from '../../core/contract/result.ts'
import { compareSetUps, type ScoreLine, type SetUpScore, scoreSetUp } from '../../core/tuning/scorecard.ts'
import type { FormerSet } from '../parts/fitted/partsHistory.ts'
import { ApiError, api } from './runsApi.ts'

/** Newest runs of a set that are taken; each is worked out by the bridge. */
export const mostRunsOfASet = 12

export interface ScoredPair {
  a: SetUpScore
  b: SetUpScore
  lines: readonly ScoreLine[]
  /** Runs that could not be worked out. */
  skipped: number
}

/** Compares two sets of parts by all runs, swaps and fillings that belong to them. */
export class SetUpScores {
  #pair = $state.raw<ScoredPair | undefined>(undefined)
  #progress = $state.raw(Number.NaN)
  #problem = $state.raw('')
  #turn = 0

  get pair(): ScoredPair | undefined {
    return this.#pair
  }
  /** 0…1 while at work, NaN otherwise. */
  get progress(): number {
    return this.#progress
  }
  get problem(): string {
    return this.#problem
  }

  clear(): void {
    this.#turn++
    this.#pair = undefined
    this.#problem = ''
    this.#progress = Number.NaN
  }

  async compare(
    car: string,
    sets: readonly [FormerSet, FormerSet],
    swaps: readonly Swap[],
    tanks: readonly Tank[],
  ): Promise<void> {
    this.clear()
    const turn = this.#turn
    this.#progress = 0
    try {
      const runs = await api<RunSummary[]>('GET', '/api/runs')
      const own = runs.filter((run) => run.car === car && !run.problem && !run.recording)
      const chosen = sets.map((set) => own.filter((run) => isDuring(set, run.start)).slice(0, mostRunsOfASet))
      const total = chosen[0].length + chosen[1].length
      let done = 0
      let skipped = 0
      const results: AnalysisResult[][] = [[], []]
      for (const [i, list] of chosen.entries()) {
        for (const run of list) {
          const result = await fetchResult(run.id)
          if (turn !== this.#turn) return
          if (result) results[i].push(result)
          else skipped++
          this.#progress = ++done / total
        }
      }
      const [a, b] = sets.map((set, i) =>
        scoreSetUp(
          results[i],
          swaps.filter((swap) => set.swaps.some(({ id }) => id === swap.id)),
          tanks.filter((tank) => isDuring(set, tank.at)),
        ),
      )
      this.#pair = { a, b, lines: compareSetUps(a, b), skipped }
    } catch (error) {
      this.#problem = error instanceof Error ? error.message : String(error)
    } finally {
      if (turn === this.#turn) this.#progress = Number.NaN
    }
  }
}

/** True when a moment lies in the time of a set. */
function isDuring({ since, until }: FormerSet, at: string): boolean {
  const timeMs = Date.parse(at)
  return !(timeMs < Date.parse(since ?? '')) && !(timeMs >= Date.parse(until ?? ''))
}

/** Undefined for a run that cannot be worked out: the others still count. @throws ApiError when the bridge is away */
async function fetchResult(id: string): Promise<AnalysisResult | undefined> {
  try {
    return await api<AnalysisResult>(
      'GET',
      `/api/runs/${id.split('/').map(encodeURIComponent).join('/')}/result`,
    )
  } catch (error) {
    if (error instanceof ApiError && error.status > 0) return undefined
    throw error
  }
}
