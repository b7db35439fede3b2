import type { AnalysisResult, Hint, SteadyPiece } from '../contract/result.ts'
import type { RunKnowledge, RunSettings } from '../pipeline/runKnowledge.ts'

/** What may make the reading lie, each with its evidence and one test that the owner can do. Conservative: no hint without need. */
export function findHints(
  _result: AnalysisResult,
  _pieces: readonly SteadyPiece[],
  _known: RunKnowledge,
  _settings: RunSettings,
): Hint[] {
  return []
}
