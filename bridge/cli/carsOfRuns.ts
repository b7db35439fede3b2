import type { RunAnalysis } from '../../core/contract/result.ts'

/** The cars that the runs themselves name, each once, in the order of the runs. */
export function carsOfRuns(runs: readonly RunAnalysis[]): string[] {
  const named = runs.flatMap(({ result, car }) => result.run.car ?? car?.id ?? [])
  return [...new Set(named)]
}
