import type { SteadyPiece } from '../contract/result.ts'

export interface MeanEstimate {
  /** Mean λ of the pieces, weighted by time. */
  readonly center: number
  /** Half width of the 95 % interval; NaN when nothing can be said. */
  readonly half: number
}

/** Pieces are gathered into blocks of about this long, within one visit, s: shorter blocks hide the slow wander. */
const BLOCK_S = 8
/** Wander of the mixture with which a run of few blocks is backed, λ; common practice, no source. */
const PRIOR_SD = 0.008
const PRIOR_BLOCKS = 3

const weightOf = (piece: SteadyPiece) => piece.standsForS ?? piece.seconds

/**
 * Mean of a state's λ over its pieces and its 95 % interval. Pieces are gathered into blocks within their visits; the scatter of the blocks,
 * backed by a prior when they are few, gives the interval, to which the systematic part (gain, curve) is added.
 */
export function estimateMean(pieces: readonly SteadyPiece[], systematicLambda: number): MeanEstimate {
  let weight = 0
  let moment = 0
  for (const piece of pieces) {
    const w = weightOf(piece)
    weight += w
    moment += w * piece.lambda
  }
  if (!(weight > 0)) return { center: Number.NaN, half: Number.NaN }
  const center = moment / weight
  let blocks = 0
  let squares = 0
  let shareSquares = 0
  let blockWeight = 0
  let blockMoment = 0
  let visit = -1
  let startS = 0
  const close = () => {
    if (blockWeight > 0) {
      const off = blockMoment / blockWeight - center
      squares += blockWeight * off * off
      shareSquares += (blockWeight / weight) ** 2
      blocks++
    }
    blockWeight = 0
    blockMoment = 0
  }
  for (const piece of pieces) {
    if (piece.visit !== visit || piece.timeS - startS >= BLOCK_S) {
      close()
      visit = piece.visit
      startS = piece.timeS
    }
    blockWeight += weightOf(piece)
    blockMoment += weightOf(piece) * piece.lambda
  }
  close()
  const own = squares / weight
  const variance = (own * blocks + PRIOR_SD ** 2 * PRIOR_BLOCKS) / (blocks - 1 + PRIOR_BLOCKS)
  const half = 1.96 * Math.sqrt(variance * shareSquares + systematicLambda ** 2)
  return { center, half }
}
