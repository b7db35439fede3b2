/** Smallest pivot that still counts as positive: rounding, not a matrix that is none. */
const LEAST_PIVOT = 1e-14

/**
 * Lower triangle L of a symmetric positive matrix, L·Lᵀ = matrix, row by row. Pivots under 1e-14 are raised to it, so that a matrix that
 * is singular by rounding still divides. Reads the lower triangle only.
 */
export function choleskyOf(matrix: readonly Float64Array[]): Float64Array[] {
  const size = matrix.length
  const lower: Float64Array[] = []
  for (let i = 0; i < size; i++) {
    const row = new Float64Array(i + 1)
    const from = matrix[i]
    for (let j = 0; j <= i; j++) {
      const other = j === i ? row : lower[j]
      let sum = from[j]
      for (let k = 0; k < j; k++) sum -= row[k] * other[k]
      row[j] = i === j ? Math.sqrt(Math.max(sum, LEAST_PIVOT)) : sum / other[j]
    }
    lower.push(row)
  }
  return lower
}

/** Solves L·x = wanted in place; `from` is the first entry that is not 0, before it nothing happens. */
export function solveLower(lower: readonly Float64Array[], x: Float64Array, from = 0): void {
  for (let i = from; i < lower.length; i++) {
    const row = lower[i]
    let sum = x[i]
    for (let k = from; k < i; k++) sum -= row[k] * x[k]
    x[i] = sum / row[i]
  }
}

/** Solves Lᵀ·x = wanted in place. */
export function solveUpper(lower: readonly Float64Array[], x: Float64Array): void {
  for (let i = lower.length - 1; i >= 0; i--) {
    const value = x[i] / lower[i][i]
    x[i] = value
    const row = lower[i]
    for (let k = 0; k < i; k++) x[k] -= row[k] * value
  }
}

/** Solution of L·Lᵀ·x = wanted as a new array. */
export function solveCholesky(lower: readonly Float64Array[], wanted: ArrayLike<number>): Float64Array {
  const x = Float64Array.from(wanted)
  solveLower(lower, x)
  solveUpper(lower, x)
  return x
}

/** Inverse of a symmetric positive matrix. */
export function invertPositive(matrix: readonly Float64Array[]): Float64Array[] {
  const lower = choleskyOf(matrix)
  return matrix.map((_, column) => {
    const unit = new Float64Array(matrix.length)
    unit[column] = 1
    return solveCholesky(lower, unit)
  })
}
