/**
 * Least-squares solution of rows · solution = wanted by Householder reflections, which keep the digits that normal
 * equations would lose. Cost: rows × columns². Throws `RangeError` if there are fewer rows than columns or the columns
 * depend on each other (equal points, for instance).
 */
export function solveLeastSquares(rows: readonly (readonly number[])[], wanted: readonly number[]): number[] {
  const rowCount = rows.length
  const columnCount = rows[0]?.length ?? 0
  if (columnCount === 0 || rowCount < columnCount || wanted.length !== rowCount) {
    throw new RangeError(
      `too few rows: ${rowCount} (expected ${Math.max(columnCount, 1)} or more, with one value each)`,
    )
  }
  const a = rows.map((row, i) => [...row, wanted[i]])
  for (let column = 0; column < columnCount; column++) reflectColumn(a, column, columnCount)
  const solution = new Array<number>(columnCount).fill(0)
  for (let i = columnCount - 1; i >= 0; i--) {
    let sum = a[i][columnCount]
    for (let j = i + 1; j < columnCount; j++) sum -= a[i][j] * solution[j]
    solution[i] = sum / a[i][i]
  }
  return solution
}

// Relative size under which a column counts as a combination of the others; rounding leaves about 1e-15.
const DEPENDENT = 1e-12

function reflectColumn(a: number[][], column: number, columnCount: number): void {
  let below = 0
  let whole = 0
  for (let i = 0; i < a.length; i++) {
    whole += a[i][column] ** 2
    if (i >= column) below += a[i][column] ** 2
  }
  const length = Math.sqrt(below)
  if (!(length > DEPENDENT * Math.sqrt(whole))) {
    throw new RangeError(`dependent column ${column}: ${length} (expected points that differ)`)
  }
  const pivot = a[column][column] > 0 ? -length : length
  const mirror = a.map((row, i) => (i < column ? 0 : i === column ? row[column] - pivot : row[column]))
  const mirrorSquare = mirror.reduce((sum, value) => sum + value * value, 0)
  for (let j = column; j <= columnCount; j++) {
    let dot = 0
    for (let i = column; i < a.length; i++) dot += mirror[i] * a[i][j]
    const share = (2 * dot) / mirrorSquare
    for (let i = column; i < a.length; i++) a[i][j] -= share * mirror[i]
  }
}
