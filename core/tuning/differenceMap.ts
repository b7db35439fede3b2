import type { RunAnalysis, SteadyPiece } from '../contract/result.ts'

/** λ of run B minus run A in each cell of the map, both at reference air. Rows by load, columns by rpm. */
export interface DifferenceMap {
  rpm_edges: number[]
  load_edges: number[]
  difference: (number | null)[][]
  seconds_a: number[][]
  seconds_b: number[][]
}

/** Cells of the difference map; wider than the mixture map's, since both runs must have been there. Chosen here. */
const RPM_STEP = 500
const LOAD_STEP = 0.1
/** Steady seconds that each run needs in a cell. */
const LEAST_CELL_S = 2

/** Map of differences; cells that only one run drove are null. Pieces without rpm or load are passed over. */
export function differenceMap(a: RunAnalysis, b: RunAnalysis, shiftA: number, shiftB: number): DifferenceMap {
  const sums = [collectCells(a.pieces, shiftA), collectCells(b.pieces, shiftB)]
  const keys = [...sums[0].keys(), ...sums[1].keys()].map((key) => key.split('/').map(Number))
  if (keys.length === 0) {
    return { rpm_edges: [], load_edges: [], difference: [], seconds_a: [], seconds_b: [] }
  }
  const rpms = keys.map((key) => key[0])
  const loads = keys.map((key) => key[1])
  const rpm0 = Math.min(...rpms)
  const load0 = Math.min(...loads)
  const columns = Math.max(...rpms) - rpm0 + 1
  const rows = Math.max(...loads) - load0 + 1
  const difference: (number | null)[][] = []
  const seconds = [[], []] as number[][][]
  for (let row = 0; row < rows; row++) {
    difference.push([])
    seconds[0].push([])
    seconds[1].push([])
    for (let column = 0; column < columns; column++) {
      const key = `${rpm0 + column}/${load0 + row}`
      const cellA = sums[0].get(key)
      const cellB = sums[1].get(key)
      seconds[0][row].push(Math.round((cellA?.seconds ?? 0) * 10) / 10)
      seconds[1][row].push(Math.round((cellB?.seconds ?? 0) * 10) / 10)
      const enough =
        cellA !== undefined &&
        cellB !== undefined &&
        cellA.seconds >= LEAST_CELL_S &&
        cellB.seconds >= LEAST_CELL_S
      difference[row].push(
        enough ? Math.round((cellB.lambda / cellB.seconds - cellA.lambda / cellA.seconds) * 1e4) / 1e4 : null,
      )
    }
  }
  const edges = (first: number, count: number, step: number) =>
    Array.from({ length: count + 1 }, (_, i) => Math.round((first + i) * step * 1000) / 1000)
  return {
    rpm_edges: edges(rpm0, columns, RPM_STEP),
    load_edges: edges(load0, rows, LOAD_STEP),
    difference,
    seconds_a: seconds[0],
    seconds_b: seconds[1],
  }
}

function collectCells(pieces: readonly SteadyPiece[], logShift: number) {
  const cells = new Map<string, { lambda: number; seconds: number }>()
  const factor = Math.exp(logShift)
  for (const piece of pieces) {
    if (piece.state === 'warm_up' || !Number.isFinite(piece.rpm) || !Number.isFinite(piece.load)) continue
    const key = `${Math.floor(piece.rpm / RPM_STEP)}/${Math.floor(piece.load / LOAD_STEP + 1e-9)}`
    const cell = cells.get(key) ?? { lambda: 0, seconds: 0 }
    cell.lambda += piece.lambda * factor * piece.seconds
    cell.seconds += piece.seconds
    cells.set(key, cell)
  }
  return cells
}
