import type { Regressors } from './mixtureRegressors.ts'

const RIDGE = 1e-4

/**
 * Products of up to four columns, from column `from`, with one other, into `out` from `at`. Side by side, since each sum must wait for its last
 * addition; none of them is added up in another order for that.
 */
export function multiplyFour(
  out: Float64Array,
  at: number,
  many: number,
  values: Float64Array,
  rows: number,
  other: Float64Array,
  otherAt: number,
  from = at,
): void {
  let one = 0
  let two = 0
  let three = 0
  let four = 0
  const a = from * rows
  // Of columns that are not there, the last one is taken again.
  const b = a + Math.min(1, many - 1) * rows
  const c = a + Math.min(2, many - 1) * rows
  const d = a + (many - 1) * rows
  for (let r = 0; r < rows; r++) {
    const y = other[otherAt + r]
    one += values[a + r] * y
    two += values[b + r] * y
    three += values[c + r] * y
    four += values[d + r] * y
  }
  out[at] = one
  if (many > 1) out[at + 1] = two
  if (many > 2) out[at + 2] = three
  if (many > 3) out[at + 3] = four
}

/** Cholesky factor of XᵀX with a small ridge, lower triangle, row after row. */
export function factorise({ rows, columns, values }: Regressors): Float64Array {
  const l = new Float64Array(columns * columns)
  for (let i = 0; i < columns; i++) {
    for (let j = 0; j <= i; j += 4) {
      multiplyFour(l, i * columns + j, Math.min(4, i + 1 - j), values, rows, values, i * rows, j)
    }
  }
  for (let i = 0; i < columns; i++) l[i * columns + i] += RIDGE * (l[i * columns + i] + 1)
  for (let i = 0; i < columns; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = l[i * columns + j]
      for (let k = 0; k < j; k++) sum -= l[i * columns + k] * l[j * columns + k]
      l[i * columns + j] = i === j ? Math.sqrt(Math.max(sum, 1e-12)) : sum / l[j * columns + j]
    }
  }
  return l
}

/** Square of the part of y that the columns explain: |L⁻¹ Xᵀy|². Overwrites `right`. */
export function explainedSquare(l: Float64Array, right: Float64Array, columns: number): number {
  let square = 0
  for (let i = 0; i < columns; i++) {
    let sum = right[i]
    for (let k = 0; k < i; k++) sum -= l[i * columns + k] * right[k]
    right[i] = sum / l[i * columns + i]
    square += right[i] * right[i]
  }
  return square
}

/** Weights of the columns in the least squares, from what `explainedSquare` left in `right`; overwrites it by them. */
export function solveWeights(l: Float64Array, right: Float64Array, columns: number): Float64Array {
  for (let i = columns - 1; i >= 0; i--) {
    let sum = right[i]
    for (let k = i + 1; k < columns; k++) sum -= l[k * columns + i] * right[k]
    right[i] = sum / l[i * columns + i]
  }
  return right
}
