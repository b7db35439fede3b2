import type { SteadyPiece } from '../../../core/contract/result.ts'
import { MAP_LEAST_S } from '../../../core/tuning/mapLimits.ts'

/** One cell of a map: its value, how far it lies from target (or from the other run), and how much lies behind it. */
export interface MapCell {
  row: number
  column: number
  /** What is printed. */
  value: number
  /** Distance that gives side and strength, positive is lean. */
  distance: number
  seconds: number
  side: 'rich' | 'lean' | 'inside' | 'none'
}

export interface MapTable {
  rpm: number[]
  /** Words of each row's load, top row first (highest load). */
  load: string[]
  rows: (MapCell | undefined)[][]
}

export interface MapInput {
  rpm_edges: readonly number[]
  load_edges: readonly number[]
  load_channel: string
  values: readonly (readonly (number | null)[])[]
  distances: readonly (readonly (number | null)[])[]
  seconds: readonly (readonly number[])[]
  /** Distances within this are neither side. */
  quietBand: number
}

/** Lays a map out for print: highest load on top, rows and columns without any evidence at the edges left away. */
export function mapTable(map: MapInput): MapTable {
  const has = (row: number, column: number) =>
    map.values[row]?.[column] != null && (map.seconds[row]?.[column] ?? 0) >= MAP_LEAST_S
  const rowCount = map.values.length
  const columnCount = Math.max(0, map.rpm_edges.length - 1)
  const usedRows = indices(rowCount).filter((row) => indices(columnCount).some((column) => has(row, column)))
  const usedColumns = indices(columnCount).filter((column) =>
    indices(rowCount).some((row) => has(row, column)),
  )
  if (usedRows.length === 0) return { rpm: [], load: [], rows: [] }
  const rows = span(usedRows).reverse()
  const columns = span(usedColumns)
  return {
    rpm: columns.map((column) => middle(map.rpm_edges, column)),
    load: rows.map((row) => loadWords(map.load_channel, middle(map.load_edges, row))),
    rows: rows.map((row) =>
      columns.map((column): MapCell | undefined => {
        if (!has(row, column)) return undefined
        const distance = map.distances[row]?.[column] ?? Number.NaN
        return {
          row,
          column,
          value: map.values[row][column] ?? Number.NaN,
          distance,
          seconds: map.seconds[row][column],
          side: Number.isNaN(distance)
            ? 'none'
            : distance < -map.quietBand
              ? 'rich'
              : distance > map.quietBand
                ? 'lean'
                : 'inside',
        }
      }),
    ),
  }
}

/** Steady pieces of evidence behind a cell, in order of time. */
export function piecesBehind(
  pieces: readonly SteadyPiece[],
  map: Pick<MapInput, 'rpm_edges' | 'load_edges' | 'load_channel'>,
  cell: Pick<MapCell, 'row' | 'column'>,
  bank: 1 | 2 = 1,
): SteadyPiece[] {
  const { rpm_edges, load_edges, load_channel } = map
  const inside = (edges: readonly number[], index: number, value: number) =>
    (index === 0 || value >= edges[index]) && (index === edges.length - 2 || value < edges[index + 1])
  return pieces.filter((piece) => {
    if (piece.bank !== bank || piece.state === 'warm_up') return false
    const load = load_channel === 'throttle' ? piece.throttlePct : load_channel === 'none' ? 0 : piece.load
    return inside(rpm_edges, cell.column, piece.rpm) && inside(load_edges, cell.row, load)
  })
}

/** Stretches of time of pieces that follow each other, for marking them in a trace. */
export function stretches(pieces: readonly SteadyPiece[]): { fromS: number; toS: number }[] {
  const found: { fromS: number; toS: number }[] = []
  for (const { timeS, seconds } of pieces) {
    const last = found[found.length - 1]
    const fromS = timeS - seconds / 2
    if (last && fromS - last.toS < 1) last.toS = Math.max(last.toS, timeS + seconds / 2)
    else found.push({ fromS, toS: timeS + seconds / 2 })
  }
  return found
}

const indices = (count: number) => Array.from({ length: count }, (_, i) => i)
const span = (used: readonly number[]) => indices(used[used.length - 1] - used[0] + 1).map((i) => used[0] + i)
const middle = (edges: readonly number[], index: number) => (edges[index] + edges[index + 1]) / 2

function loadWords(channel: string, value: number): string {
  if (channel === 'none') return 'all'
  if (channel === 'throttle') return `${Math.round(value)} %`
  return String(Math.round(value * 100))
}
