import type { MixtureMap } from '../contract/result.ts'

/** Mean λ over engine speed × load, added up moment by moment. */
export interface MapSums {
  add(rpm: number, load: number, throttlePct: number, lambda: number, target: number, dtS: number): void
  toMap(): MixtureMap
}

const RPM_STEP = 500
const RPM_COLUMNS = 16
const LOAD_EDGES = [0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.05]
const THROTTLE_EDGES = [0, 1.5, 5, 10, 20, 30, 45, 60, 80, 101]

/**
 * Creates empty sums. `loadChannel` is `manifold_pressure` (load = manifold ÷ barometric pressure), `throttle` (%) or `none` (one row).
 */
export function createMapSums(loadChannel: 'manifold_pressure' | 'throttle' | 'none'): MapSums {
  const edges =
    loadChannel === 'manifold_pressure' ? LOAD_EDGES : loadChannel === 'throttle' ? THROTTLE_EDGES : [0, 1]
  const rows = edges.length - 1
  const cells = rows * RPM_COLUMNS
  const seconds = new Float64Array(cells)
  const lambdaSum = new Float64Array(cells)
  const errorSum = new Float64Array(cells)
  const errorSeconds = new Float64Array(cells)

  function rowOf(value: number): number {
    let row = 0
    while (row < rows - 1 && value >= edges[row + 1]) row++
    return row
  }

  return {
    add(rpm, load, throttlePct, lambda, target, dtS) {
      const value = loadChannel === 'manifold_pressure' ? load : loadChannel === 'throttle' ? throttlePct : 0
      if (Number.isNaN(value) || !(rpm >= 0) || Number.isNaN(lambda)) return
      const column = Math.min(RPM_COLUMNS - 1, (rpm / RPM_STEP) | 0)
      const cell = rowOf(value) * RPM_COLUMNS + column
      seconds[cell] += dtS
      lambdaSum[cell] += lambda * dtS
      if (!Number.isNaN(target)) {
        errorSum[cell] += (lambda - target) * dtS
        errorSeconds[cell] += dtS
      }
    },
    toMap() {
      let used = 1
      for (let cell = 0; cell < cells; cell++) {
        if (seconds[cell] > 0) used = Math.max(used, (cell % RPM_COLUMNS) + 1)
      }
      const table = <T>(value: (cell: number) => T): T[][] =>
        Array.from({ length: rows }, (_, row) =>
          Array.from({ length: used }, (_unused, column) => value(row * RPM_COLUMNS + column)),
        )
      return {
        rpm_edges: Array.from({ length: used + 1 }, (_, i) => i * RPM_STEP),
        load_edges: [...edges],
        load_channel: loadChannel,
        lambda: table((c) => (seconds[c] > 0 ? lambdaSum[c] / seconds[c] : null)),
        seconds: table((c) => seconds[c]),
        error: table((c) => (errorSeconds[c] > 0 ? errorSum[c] / errorSeconds[c] : null)),
      }
    },
  }
}
