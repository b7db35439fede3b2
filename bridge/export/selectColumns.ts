import { BridgeError } from '../bridgeError.ts'
import type { ExportColumn, ExportTable } from './exportTable.ts'

/**
 * The table with these columns only, in this order.
 * @throws BridgeError `no_such_channel` naming the missing one and those there are
 */
export function selectColumns(table: ExportTable, names: readonly string[]): ExportTable {
  const columns = names.map((name) => {
    const found = table.columns.find((column) => column.name === name)
    if (found) return found
    const all = table.columns.map((column) => column.name).join(', ')
    throw new BridgeError('no_such_channel', `no channel "${name}" (there are ${all})`)
  })
  return { ...table, columns }
}

/** Quantities whose mean over an interval means nothing: the last value stands. */
const neverAveraged = new Set(['latitude', 'longitude', 'course'])

/**
 * The table at a lower rate: one row for each interval `[k / rateHz, (k + 1) / rateHz)` that has samples, at the interval's start. Numbers are the mean of
 * the interval's values, NaN skipped; texts and positions its last one. A rate at or above the run's own changes nothing.
 * @throws RangeError for a rate that is no positive number
 */
export function reduceRate(table: ExportTable, rateHz: number): ExportTable {
  if (!(rateHz > 0 && Number.isFinite(rateHz)))
    throw new RangeError(`invalid rate: ${rateHz} (expected a positive number of rows a second)`)
  const { timeS } = table
  const count = timeS.length
  const ownHz = count > 1 ? (count - 1) / (timeS[count - 1] - timeS[0]) : 0
  if (rateHz >= ownHz) return table
  const intervals = new Float64Array(count)
  const starts = new Int32Array(count + 1)
  let rows = 0
  for (let i = 0; i < count; i++) {
    // A sample that should lie on the border must not fall before it by the rounding of its time.
    const interval = Math.floor(timeS[i] * rateHz + 1e-6)
    if (rows > 0 && intervals[rows - 1] === interval) continue
    intervals[rows] = interval
    starts[rows++] = i
  }
  starts[rows] = count
  const bounds = starts.subarray(0, rows + 1)
  return {
    ...table,
    timeS: Float64Array.from(intervals.subarray(0, rows), (interval) => interval / rateHz),
    columns: table.columns.map((column) => reduceColumn(column, bounds)),
  }
}

function reduceColumn(column: ExportColumn, bounds: Int32Array): ExportColumn {
  const rows = bounds.length - 1
  if (column.kind === 'text') {
    const codes = new Uint8Array(rows)
    for (let row = 0; row < rows; row++) codes[row] = column.codes[bounds[row + 1] - 1]
    return { ...column, codes }
  }
  const values = new Float64Array(rows)
  const isMean = !neverAveraged.has(column.name)
  for (let row = 0; row < rows; row++) {
    let sum = 0
    let seen = 0
    let last = Number.NaN
    for (let i = bounds[row]; i < bounds[row + 1]; i++) {
      const value = column.values[i]
      if (Number.isNaN(value)) continue
      sum += value
      seen++
      last = value
    }
    values[row] = isMean ? sum / seen : last
  }
  return { ...column, values: column.values instanceof Float32Array ? Float32Array.from(values) : values }
}
