import { FREE, type LevelDesign } from './levelDesign.ts'
import type { LevelRow } from './levelRows.ts'

/** Least day-to-day deviation, log λ: keeps the matrix regular. */
const LEAST_DAY = 1e-4

/**
 * The same with run 1 told apart from run 0 by a shift along a pattern of the rows alone: the last column. What the day moves all states by,
 * and each by itself, is free within its standard deviation, log λ.
 */
export function addShift(
  design: LevelDesign,
  rows: readonly LevelRow[],
  pattern: ArrayLike<number>,
  commonSd: number,
  ownSd: number,
): LevelDesign {
  const columns = design.columns + 3
  const precision = Array.from({ length: columns }, (_, i) => {
    const line = new Float64Array(columns)
    if (i < design.columns) line.set(design.precision[i])
    return line
  })
  for (const row of rows) {
    const own = design.runColumn(row.state, 1)
    precision[own][own] = 1 / Math.max(ownSd, LEAST_DAY) ** 2
  }
  const day = columns - 3
  const map = columns - 2
  precision[day][day] = 1 / Math.max(commonSd, LEAST_DAY) ** 2
  // The map itself may bend along the pattern as it likes, else the shift would take up what its priors hold back.
  precision[map][map] = FREE
  precision[columns - 1][columns - 1] = FREE
  return {
    ...design,
    columns,
    precision,
    at: rows.map((row, i) =>
      row.run === 0
        ? Int32Array.of(...design.at[i], map)
        : Int32Array.of(...design.at[i], map, design.runColumn(row.state, 0), day, columns - 1),
    ),
    values: rows.map((row, i) =>
      row.run === 0
        ? Float64Array.of(...design.values[i], pattern[i])
        : Float64Array.of(...design.values[i], pattern[i], 1, 1, pattern[i]),
    ),
  }
}
