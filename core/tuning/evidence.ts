import type { AnalysisResult, MixtureState, RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { checkObject, showValue } from '../numeric/checkKind.ts'

/**
 * A run as comparing and advising take it, from a whole analysis or from its result alone. Without the steady pieces the
 * state's median and interval stand in for them: usable, but different driving can no longer be told from a different mixture.
 * Anything else throws `RangeError`.
 */
export function asRunAnalysis(run: RunAnalysis | AnalysisResult): RunAnalysis {
  checkObject('run', run, 'an analysis of a run')
  if ('pieces' in run && Array.isArray(run.pieces) && run.result) return run
  if ('format' in run && run.format === 'floatbowl-result 1') {
    const startMs = run.run.start ? Date.parse(run.run.start) : Number.NaN
    return { result: run, pieces: piecesOfResult(run), startMs }
  }
  throw new RangeError(`invalid run: ${showValue(run)} (expected an analysis of a run)`)
}

/** Order of the runs: by start time, those without one keep their place behind the one before. */
export function inOrderOfStart(runs: readonly (RunAnalysis | AnalysisResult)[]): RunAnalysis[] {
  let last = Number.NEGATIVE_INFINITY
  const keyed = runs.map(asRunAnalysis).map((run, index) => {
    last = Number.isFinite(run.startMs) ? run.startMs : last
    return { run, index, key: last }
  })
  return keyed.sort((a, b) => a.key - b.key || a.index - b.index).map((entry) => entry.run)
}

// Stand-ins for pieces: so many, so far apart that they count as independent.
const STAND_INS = 12
const STAND_IN_SPACING_S = 600

function piecesOfResult(result: AnalysisResult): SteadyPiece[] {
  const pieces: SteadyPiece[] = []
  for (const [bank, mixtures] of [
    [1, result.mixture],
    [2, result.mixture_2 ?? {}],
  ] as const) {
    for (const [state, mixture] of Object.entries(mixtures)) {
      if (!mixture || mixture.lambda_median === null || mixture.ci95 === null) continue
      const half = (mixture.ci95[1] - mixture.ci95[0]) / 2
      const spread = (half / 1.96) * Math.sqrt(STAND_INS - 1)
      for (let i = 0; i < STAND_INS; i++) {
        pieces.push({
          bank,
          state: state as MixtureState,
          visit: i,
          timeS: i * STAND_IN_SPACING_S,
          seconds: mixture.seconds / STAND_INS,
          lambda: mixture.lambda_median + (i % 2 === 0 ? spread : -spread),
          rpm: Number.NaN,
          load: Number.NaN,
          manifoldKpa: Number.NaN,
          throttlePct: Number.NaN,
          coolantC: Number.NaN,
        })
      }
    }
  }
  return pieces
}
