import { choleskyOf, solveCholesky, solveLower } from '../numeric/cholesky.ts'
import type { LevelDesign } from './levelDesign.ts'
import type { LevelRow } from './levelRows.ts'
import { type WanderModel, wanderAt, wanderOfRow } from './wanderModel.ts'

/** A fit of all states over all runs: the most likely columns, and what is left in each row. */
export interface LevelFit {
  readonly estimate: Float64Array
  readonly residuals: Float64Array
  /** Column covariance times a contrast. */
  covarianceTimes(contrast: Float64Array): Float64Array
}

/** How rows scatter about the fit. */
export interface RowScatter {
  /** Spread of a second of each row, log λ: the unit of the wander. */
  readonly spread: ArrayLike<number>
  readonly wander: WanderModel
  /** Rows of one number wander alike (one state, one bank); others of the run only by `SHARED`. */
  readonly kind: ArrayLike<number>
}

/** Share of the wander that is the engine's and not the state's own: states interleave in traffic. Common practice, no source. */
const SHARED = 0.7

/**
 * Least squares weighted by the rows' covariance, with the design's priors: neighbouring rows that wander together count together, and
 * what idle wandered is known of the cruise beside it. Rows must be ordered by run.
 */
export function fitLevels(rows: readonly LevelRow[], design: LevelDesign, scatter: RowScatter): LevelFit {
  const { columns } = design
  const normal = design.precision.map((row) => Float64Array.from(row))
  const wanted = new Float64Array(columns)
  let first = 0
  while (first < rows.length) {
    let end = first
    while (end < rows.length && rows[end].run === rows[first].run) end++
    addRun(rows, first, end, design, scatter, normal, wanted)
    first = end
  }
  const lower = choleskyOf(normal)
  const estimate = solveCholesky(lower, wanted)
  const residuals = Float64Array.from(rows, (row, i) => {
    const at = design.at[i]
    const values = design.values[i]
    let fitted = 0
    for (let a = 0; a < at.length; a++) fitted += estimate[at[a]] * values[a]
    return row.logLambda - fitted
  })
  return { estimate, residuals, covarianceTimes: (contrast) => solveCholesky(lower, contrast) }
}

function addRun(
  rows: readonly LevelRow[],
  first: number,
  end: number,
  design: LevelDesign,
  scatter: RowScatter,
  normal: readonly Float64Array[],
  wanted: Float64Array,
): void {
  const size = end - first
  const lower = choleskyOf(covarianceOf(rows, first, end, scatter))
  const column = new Map<number, { values: Float64Array; from: number }>()
  for (let i = 0; i < size; i++) {
    const at = design.at[first + i]
    for (let a = 0; a < at.length; a++) {
      let one = column.get(at[a])
      if (!one) {
        one = { values: new Float64Array(size), from: i }
        column.set(at[a], one)
      }
      one.values[i] += design.values[first + i][a]
    }
  }
  const seen = Float64Array.from({ length: size }, (_, i) => rows[first + i].logLambda)
  solveLower(lower, seen)
  const used = [...column.entries()]
  for (const [, { values, from }] of used) solveLower(lower, values, from)
  for (let p = 0; p < used.length; p++) {
    const [a, { values: left, from }] = used[p]
    let sum = 0
    for (let i = from; i < size; i++) sum += left[i] * seen[i]
    wanted[a] += sum
    for (let q = 0; q <= p; q++) {
      const [b, { values: right, from: begin }] = used[q]
      let dot = 0
      for (let i = Math.max(from, begin); i < size; i++) dot += left[i] * right[i]
      normal[a][b] += dot
      if (a !== b) normal[b][a] += dot
    }
  }
}

function covarianceOf(rows: readonly LevelRow[], first: number, end: number, scatter: RowScatter) {
  const { spread, wander, kind } = scatter
  const matrix: Float64Array[] = []
  for (let i = first; i < end; i++) {
    const line = new Float64Array(i - first + 1)
    for (let j = first; j < i; j++) {
      const lagS = Math.abs(rows[i].timeS - rows[j].timeS)
      const alike = kind[i] === kind[j] ? 1 : SHARED
      line[j - first] = alike * spread[i] * spread[j] * wanderAt(wander, lagS)
    }
    line[i - first] = spread[i] ** 2 * wanderOfRow(wander, rows[i].seconds)
    matrix.push(line)
  }
  return matrix
}
