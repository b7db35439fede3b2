import type { SteadyPiece } from '../contract/result.ts'
import { medianOf } from '../numeric/average.ts'

export interface MeanEstimate {
  /** Mean λ of the pieces, weighted by time. */
  readonly center: number
  /** Half width of the 95 % interval; NaN when nothing can be said. */
  readonly half: number
}

/** Pieces are gathered into blocks of about this long, within one visit, s: shorter blocks hide the slow wander. */
const BLOCK_S = 8
/** What a reading's mean is off that no scatter shows: a sensor quicker one way than the other turns scatter into an offset. λ; chosen here. */
const OFFSET_SD = 0.0007
/** Noise of a piece of a second when too few follow each other to tell it, λ; common practice, no source. */
const PIECE_NOISE = 0.006
/** Middle absolute second difference of white noise over its deviation: 0.6745 √6. */
const SECOND_DIFFERENCE = 1.652
const LEAST_DIFFERENCES = 5
/**
 * Of the state's time a part was not read or may be counted otherwise. If it lies anywhere in the state it puts its share of the spread into the
 * mean (the correction for a finite population); at the edges of an evenly filled range, √3 deviations out, three times that variance.
 */
const EDGE_VARIANCE = 3
/** The same for what no piece can tell: rest, barometer and the ends of tips. Chosen here. */
const LEAST_UNSEEN = 0.1
/** Wander of the mixture with which a run of few blocks is backed, λ; common practice, no source. */
const PRIOR_SD = 0.008
const PRIOR_BLOCKS = 3
/**
 * Steady time that was not read is no sample of the rest: it is the first seconds after a start or an overrun, when fuel still settles on the walls.
 * Its mean lies off by this, λ, or by the blocks' own spread where that is more. Chosen here.
 */
const UNREAD_SD = 0.04

const weightOf = (piece: SteadyPiece) => piece.standsForS ?? piece.seconds

/**
 * Mean of a state's λ over its steady time and its 95 % interval. Had every steady moment been read, only noise and the reading's own error were
 * left; what was not read, or lies so near to a limit that another judge would count it otherwise, adds its share of the scatter of blocks within
 * visits, which a prior backs when they are few. The systematic part (gain, curve) is added, and `unreadS`: steady seconds that may be unlike those read.
 */
export function estimateMean(
  pieces: readonly SteadyPiece[],
  systematicLambda: number,
  unreadS = 0,
): MeanEstimate {
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
  const unseen = Math.min(1, LEAST_UNSEEN + (EDGE_VARIANCE * unseenSeconds(pieces)) / weight)
  const unreadLambda = (unreadS / (weight + unreadS)) * Math.max(UNREAD_SD, Math.sqrt(own))
  const half =
    1.96 *
    Math.sqrt(
      variance * shareSquares * unseen +
        pieceNoise(pieces) ** 2 / pieces.length +
        OFFSET_SD ** 2 +
        systematicLambda ** 2 +
        unreadLambda ** 2,
    )
  return { center, half }
}

/** Steady seconds that no reading covers, or that another judge may count otherwise. */
function unseenSeconds(pieces: readonly SteadyPiece[]): number {
  let seconds = 0
  for (const piece of pieces) seconds += weightOf(piece) - piece.seconds + (piece.doubtS ?? 0)
  return seconds
}

/** Noise of a piece from the second differences within visits, which a trend does not touch. */
function pieceNoise(pieces: readonly SteadyPiece[]): number {
  const differences: number[] = []
  for (let i = 2; i < pieces.length; i++) {
    if (pieces[i].visit !== pieces[i - 2].visit) continue
    differences.push(Math.abs(pieces[i].lambda - 2 * pieces[i - 1].lambda + pieces[i - 2].lambda))
  }
  if (differences.length < LEAST_DIFFERENCES) return PIECE_NOISE
  return medianOf(differences) / SECOND_DIFFERENCE
}
