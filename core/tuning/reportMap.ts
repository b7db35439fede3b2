import type { MixtureMap } from '../contract/result.ts'
import type { MixtureUnit } from '../units/mixtureUnit.ts'
import { MAP_LEAST_S, MAP_QUIET_LAMBDA, MAP_SOLID_S } from './mapLimits.ts'
import { figure } from './reportText.ts'

/** Distance from target at which a cell's colour is at its deepest. */
const FULL_ERROR = 0.1

/** Blue for rich, orange for lean: light enough for black numbers. */
function cellColour(error: number): string {
  const share = Math.min(1, Math.abs(error) / FULL_ERROR)
  const full = error < 0 ? [112, 174, 222] : [235, 163, 92]
  const mixed = full.map((value) => Math.round(255 + (value - 255) * share))
  return `rgb(${mixed.join(',')})`
}

/**
 * The mixture map as an HTML table with the number in each cell, load rising upward and speed to the right; heavier where there is
 * more evidence; rich cells hatched on the left edge and lean ones dotted on the right, so that grey prints tell them apart.
 */
export function mapTable(map: MixtureMap, unit: MixtureUnit): string {
  const columns = usedColumns(map)
  if (columns.length === 0) return '<p class="quiet">No steady driving to lay on a map.</p>'
  const rows: string[] = []
  for (let row = map.lambda.length - 1; row >= 0; row--) {
    if (!columns.some((column) => isSeen(map, row, column))) continue
    const cells = columns.map((column) => cell(map, row, column, unit)).join('')
    rows.push(`<tr><th scope="row">${loadWord(map, row)}</th>${cells}</tr>`)
  }
  const heads = columns
    .map((column) => `<th scope="col">${Math.round(middle(map.rpm_edges, column))}</th>`)
    .join('')
  const what = { throttle: 'throttle, %', none: 'any load' }[map.load_channel] ?? 'load, %'
  return (
    `<table class="map"><caption><span>${unit.symbol} over engine speed, rpm, and ` +
    `${what}; bold: ${MAP_SOLID_S} s or more</span></caption>` +
    `<tbody>${rows.join('')}</tbody><tfoot><tr><th></th>${heads}</tr></tfoot></table>`
  )
}

function usedColumns(map: MixtureMap): number[] {
  const columns: number[] = []
  const count = map.rpm_edges.length - 1
  for (let column = 0; column < count; column++) {
    if (map.lambda.some((_, row) => isSeen(map, row, column))) columns.push(column)
  }
  if (columns.length === 0) return columns
  const first = columns[0]
  return Array.from({ length: columns[columns.length - 1] - first + 1 }, (_, i) => first + i)
}

function isSeen(map: MixtureMap, row: number, column: number): boolean {
  return map.lambda[row][column] !== null && (map.seconds[row]?.[column] ?? 0) >= MAP_LEAST_S
}

function cell(map: MixtureMap, row: number, column: number, unit: MixtureUnit): string {
  if (!isSeen(map, row, column)) return '<td class="none"></td>'
  // Without a known load nobody knows which target holds.
  const error = map.load_channel === 'none' ? null : (map.error[row]?.[column] ?? null)
  const side = error === null || Math.abs(error) <= MAP_QUIET_LAMBDA ? '' : error < 0 ? 'is-rich' : 'is-lean'
  const classes = [map.seconds[row][column] >= MAP_SOLID_S ? 'solid' : '', side].filter(Boolean)
  const colour = error === null || side === '' ? '' : ` style="background:${cellColour(error)}"`
  return `<td class="${classes.join(' ')}"${colour}>${figure(unit.of(map.lambda[row][column] ?? Number.NaN), unit.decimals)}</td>`
}

function loadWord(map: MixtureMap, row: number): string {
  if (map.load_channel === 'none') return 'all'
  const load = middle(map.load_edges, row)
  return map.load_channel === 'manifold_pressure' ? String(Math.round(load * 100)) : String(Math.round(load))
}

const middle = (edges: readonly number[], index: number) => (edges[index] + edges[index + 1]) / 2
