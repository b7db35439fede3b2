import type uPlot from 'uplot'
import type { ChartSeries } from './chartSeries.ts'

export interface ChartSummary {
  label: string
  unit: string
  decimals: number
  least: number
  middle: number
  most: number
  readings: number
}

export interface ChartTable {
  summary: ChartSummary[]
  /** At most `mostRows` rows: x, then one value per series (mean of what falls into the row), NaN = no reading. */
  rows: { x: number; values: number[] }[]
}

const mostRows = 200

/** The same data as a table: a summary per series and at most 200 rows between `from` and `to`. Missing values (null, NaN) are skipped. */
export function chartTable(
  data: uPlot.AlignedData,
  series: readonly ChartSeries[],
  from = Number.NEGATIVE_INFINITY,
  to = Number.POSITIVE_INFINITY,
): ChartTable {
  const xs = data[0]
  let first = 0
  while (first < xs.length && xs[first] < from) first++
  let end = xs.length
  while (end > first && xs[end - 1] > to) end--
  const rowCount = Math.min(mostRows, end - first)
  const rows = Array.from({ length: rowCount }, (_, row) => {
    const start = first + Math.floor(((end - first) * row) / rowCount)
    const stop = first + Math.floor(((end - first) * (row + 1)) / rowCount)
    return { x: xs[start], values: series.map((_line, i) => mean(data[i + 1], start, stop)) }
  })
  const summary = series.map((line, i) => {
    const values: number[] = []
    const column = data[i + 1]
    for (let k = first; k < end; k++) {
      const value = column[k]
      if (value != null && !Number.isNaN(value)) values.push(value)
    }
    values.sort((a, b) => a - b)
    return {
      label: line.label,
      unit: line.unit ?? '',
      decimals: line.decimals ?? 2,
      least: values[0] ?? Number.NaN,
      middle: values[values.length >> 1] ?? Number.NaN,
      most: values[values.length - 1] ?? Number.NaN,
      readings: values.length,
    }
  })
  return { summary, rows }
}

function mean(column: ArrayLike<number | null | undefined>, start: number, stop: number): number {
  let sum = 0
  let count = 0
  for (let i = start; i < stop; i++) {
    const value = column[i]
    if (value != null && !Number.isNaN(value)) {
      sum += value
      count++
    }
  }
  return count === 0 ? Number.NaN : sum / count
}
