import type { RunAnalysis } from '../contract/result.ts'
import type { SampleBlock } from '../contract/samples.ts'

/** 22 hours at 100 Hz. Memory goes with the samples, about 200 bytes each: so a file of any size ends within 2 GB. Chosen here. */
export const defaultMostSamples = 8_000_000

/** Lets samples through up to a bound, and says of a result what was left out. */
export interface SampleBound {
  push(block: SampleBlock): void
  /** The analysis, with a line in `run.problems` if something was left out. */
  tellRest(analysis: RunAnalysis): RunAnalysis
}

/** @param take gets the blocks, cut where the bound is reached */
export function createSampleBound(
  take: (block: SampleBlock) => void,
  mostSamples: number = defaultMostSamples,
): SampleBound {
  let kept = 0
  let keptToS = Number.NaN
  let leftOut = 0
  return {
    push(whole) {
      const count = Math.min(whole.count, mostSamples - kept)
      leftOut += whole.count - count
      if (count === 0) return
      kept += count
      keptToS = whole.timeS[count - 1]
      take(count === whole.count ? whole : { ...whole, count })
    },
    tellRest(analysis) {
      if (leftOut === 0) return analysis
      const text = `the run is longer than fits in memory: analysed up to ${Math.round(keptToS)} s, ${leftOut} later samples left out`
      const { run } = analysis.result
      const problems = [...((run['problems'] as string[] | undefined) ?? []), text]
      return { ...analysis, result: { ...analysis.result, run: { ...run, problems } } }
    },
  }
}
