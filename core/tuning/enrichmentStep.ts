import type { SteadyPiece } from '../contract/result.ts'

/** Where the power enrichment opens, as found in the data. */
export interface EnrichmentStep {
  /** Manifold vacuum at the middle of the step. */
  opens_inHg: number
  ci95: [number, number]
  /** How much richer λ is below that vacuum, in log λ, positive. */
  stepLog: number
  stepSe: number
  /** Steady seconds on either side. */
  secondsAbove: number
  secondsBelow: number
}

/** kPa of one inch of mercury at 0 °C. Source: NIST SP 811. */
export const KPA_PER_INHG = 3.386389

/** Width over which a valve opens, inHg, and the vacuums looked at. Common practice, no source. */
const OPENING_WIDTH_INHG = 0.5
const LEAST_INHG = 2
const MOST_INHG = 14
const GRID_INHG = 0.25
/** Seconds that must be seen on each side of a step for it to be told. */
const LEAST_SIDE_S = 10
/** Steady seconds that count as one independent value. Common practice, no source. */
const INDEPENDENT_S = 6
/** Smallest step that is called one, log λ, and how sure it must be, in standard errors. */
const LEAST_STEP = 0.025
const LEAST_SIGNIFICANCE = 4
/** The same where a valve with its opening vacuum is fitted: that there is a step is known then, and only where is asked. Chosen here. */
const VALVE_SIDE_S = 6
const VALVE_SIGNIFICANCE = 3
/** Share of full load above the opening vacuum from which the valve opens too late for it. Chosen here. */
const LATE_SHARE = 0.2

/**
 * Finds the vacuum at which enrichment opens as the step of λ against manifold vacuum, on top of a slope with load and speed:
 * least squares over a grid of vacuums. Undefined when no manifold pressure was measured, a side was not driven, or no step stands
 * out. Needs pieces whose load is manifold over barometric pressure. `hasValve`: a valve with its opening vacuum is fitted.
 */
export function findEnrichmentStep(
  pieces: readonly SteadyPiece[],
  hasValve = false,
): EnrichmentStep | undefined {
  const leastSideS = hasValve ? VALVE_SIDE_S : LEAST_SIDE_S
  const leastSignificance = hasValve ? VALVE_SIGNIFICANCE : LEAST_SIGNIFICANCE
  const rows: { vacuum: number; load: number; rpm: number; y: number; w: number }[] = []
  for (const piece of pieces) {
    const usable = piece.state === 'cruise' || piece.state === 'part_throttle' || piece.state === 'power'
    const vacuum = vacuumOf(piece)
    if (!usable || Number.isNaN(vacuum) || !(piece.lambda > 0)) continue
    rows.push({
      vacuum,
      load: piece.load,
      rpm: Number.isFinite(piece.rpm) ? piece.rpm / 1000 : 0,
      y: Math.log(piece.lambda),
      w: piece.seconds,
    })
  }
  const seconds = rows.reduce((sum, row) => sum + row.w, 0)
  if (seconds < 3 * LEAST_SIDE_S) return undefined
  let best: { opens: number; rss: number; step: number; se: number } | undefined
  const profile: { opens: number; rss: number }[] = []
  for (let opens = LEAST_INHG; opens <= MOST_INHG + 1e-9; opens += GRID_INHG) {
    const above = rows.reduce((sum, row) => sum + (row.vacuum > opens ? row.w : 0), 0)
    if (above < leastSideS || seconds - above < leastSideS) continue
    const fit = fitStep(rows, opens, seconds)
    if (!fit) continue
    profile.push({ opens, rss: fit.rss })
    if (!best || fit.rss < best.rss) best = { opens, ...fit }
  }
  if (!best || best.step < LEAST_STEP || best.step < leastSignificance * best.se) return undefined
  const independent = Math.max(4, seconds / INDEPENDENT_S)
  // 95 % by the likelihood ratio: 3.84 is the chi-squared point with one degree of freedom.
  const limit = best.rss * Math.exp(3.84 / independent)
  const inside = profile.filter((entry) => entry.rss <= limit).map((entry) => entry.opens)
  const above = rows.reduce((sum, row) => sum + (row.vacuum > best.opens ? row.w : 0), 0)
  return {
    opens_inHg: best.opens,
    ci95: [Math.min(...inside) - GRID_INHG / 2, Math.max(...inside) + GRID_INHG / 2],
    stepLog: best.step,
    stepSe: best.se,
    secondsAbove: above,
    secondsBelow: seconds - above,
  }
}

function fitStep(
  rows: readonly { vacuum: number; load: number; rpm: number; y: number; w: number }[],
  opens: number,
  seconds: number,
): { rss: number; step: number; se: number } | undefined {
  const size = 4
  const normal = Array.from({ length: size }, () => new Array<number>(size + 1).fill(0))
  let square = 0
  for (const row of rows) {
    const on = 1 / (1 + Math.exp((row.vacuum - opens) / (OPENING_WIDTH_INHG / 2)))
    const x = [1, -on, row.load - 0.6, row.rpm - 2.5]
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++) normal[i][j] += row.w * x[i] * x[j]
      normal[i][size] += row.w * x[i] * row.y
    }
    square += row.w * row.y * row.y
  }
  const kept = normal.map((row) => [...row])
  // Slopes get a little weight towards zero: with one speed or load they cannot be told.
  normal[2][2] += seconds * 1e-4
  normal[3][3] += seconds * 1e-2
  const inverseColumn = [0, 1, 0, 0]
  const work = normal.map((row, i) => [...row, inverseColumn[i]])
  for (let column = 0; column < size; column++) {
    if (!(Math.abs(work[column][column]) > 1e-12)) return undefined
    for (let row = 0; row < size; row++) {
      if (row === column) continue
      const times = work[row][column] / work[column][column]
      for (let j = column; j < size + 2; j++) work[row][j] -= times * work[column][j]
    }
  }
  const b = work.map((row, i) => row[size] / row[i])
  let rss = square
  for (let i = 0; i < size; i++) {
    rss -= 2 * b[i] * kept[i][size]
    for (let j = 0; j < size; j++) rss += b[i] * b[j] * kept[i][j]
  }
  rss = Math.max(rss, 1e-12)
  const variance = (rss / seconds) * INDEPENDENT_S
  return { rss, step: b[1], se: Math.sqrt(Math.max(0, variance * (work[1][size + 1] / work[1][1]))) }
}

/** Share of a state's steady seconds that lie below the opening vacuum, 0 without pieces. */
export function enrichedShare(pieces: readonly SteadyPiece[], state: string, step: EnrichmentStep): number {
  let whole = 0
  let enriched = 0
  for (const piece of pieces) {
    const vacuum = vacuumOf(piece)
    if (piece.state !== state || Number.isNaN(vacuum)) continue
    whole += piece.seconds
    if (vacuum < step.opens_inHg) enriched += piece.seconds
  }
  return whole > 0 ? enriched / whole : 0
}

/** True when the enrichment opens within full load: its lean part is the valve's fault, and a larger restriction would only make the rest too rich. */
export function opensWithinPower(pieces: readonly SteadyPiece[], step: EnrichmentStep): boolean {
  return 1 - enrichedShare(pieces, 'power', step) > LATE_SHARE
}

/** Manifold vacuum of a piece, inHg; NaN without manifold pressure or barometer. */
export function vacuumOf(piece: SteadyPiece): number {
  if (!(piece.load > 0) || !(piece.manifoldKpa > 0)) return Number.NaN
  const barometerKpa = piece.barometerKpa ?? piece.manifoldKpa / piece.load
  return (barometerKpa - piece.manifoldKpa) / KPA_PER_INHG
}

/**
 * Log λ that another opening vacuum adds to a state's mean: the share of the state's steady seconds between the two vacuums,
 * times the step. A valve that opens at more vacuum enriches more of the state: negative.
 */
export function valveShift(
  pieces: readonly SteadyPiece[],
  state: string,
  step: EnrichmentStep,
  changeInHg: number,
): number {
  const from = step.opens_inHg
  const to = from + changeInHg
  let whole = 0
  let moved = 0
  for (const piece of pieces) {
    const vacuum = vacuumOf(piece)
    if (piece.state !== state || Number.isNaN(vacuum)) continue
    const on = (opens: number) => 1 / (1 + Math.exp((vacuum - opens) / (OPENING_WIDTH_INHG / 2)))
    whole += piece.seconds
    moved += piece.seconds * (on(to) - on(from))
  }
  return whole > 0 ? -step.stepLog * (moved / whole) : 0
}
