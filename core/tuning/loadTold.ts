import type { RunAnalysis } from '../contract/result.ts'

/** True for a run in which load can be told, by manifold pressure or throttle. */
export function tellsLoad(run: RunAnalysis): boolean {
  return run.result.map.load_channel !== 'none'
}

/** States whose limits are of load: other stretches of driving where the throttle tells it than where the pressure does. Power is sure in both. */
export const statesByLoad = ['cruise', 'part_throttle'] as const

/** False for two runs of which the throttle tells the load of one, and the pressure of the other: their states by load are not the same. */
export function isToldAlike(a: RunAnalysis, b: RunAnalysis): boolean {
  return !tellsLoad(a) || !tellsLoad(b) || a.result.map.load_channel === b.result.map.load_channel
}

/** A run that says nothing of the states by load, and whose other pieces are held against those of a run that tells load in another way by speed alone. */
export function withoutStatesByLoad(run: RunAnalysis): RunAnalysis {
  const pieces = run.pieces
    .filter(({ state }) => !(statesByLoad as readonly string[]).includes(state))
    .map((piece) => ({ ...piece, load: Number.NaN }))
  return { ...run, pieces }
}

/** A run that speaks of idle alone: without its load no more can be laid beside the levels of others. */
export function onlyIdle(run: RunAnalysis): RunAnalysis {
  return { ...run, pieces: run.pieces.filter(({ state }) => state === 'idle') }
}
