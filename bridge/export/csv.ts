import type { LineMap } from '../../core/line/lineMap.ts'
import type { ExportColumn, ExportTable } from './exportTable.ts'
import { float32Text, float64Text, isoMicros, utcMicros } from './numberText.ts'

const rowsPerChunk = 500
const lineEnd = '\r\n'
/** λ is never known better than this. */
const derivedScale = 1e5

/**
 * The table as CSV after RFC 4180, UTF-8, in pieces: a header with units, decimal points, times in ISO 8601 (UTC) where the run says when it began and in
 * seconds of the run, empty fields for what is missing. Recorded values read back to the
 * same single-precision numbers, times to the microsecond; derived ones have five decimals.
 */
export function* csvChunks(table: ExportTable): Generator<string> {
  const { timeS, columns, startMs } = table
  const hasDate = Number.isFinite(startMs)
  const head = [...(hasDate ? ['time'] : []), 't [s]', ...columns.map(csvHeader)]
  yield head.map(quoted).join(',') + lineEnd
  const writers = columns.map(columnWriter)
  let text = ''
  for (let row = 0; row < timeS.length; row++) {
    if (hasDate) text += `${isoMicros(utcMicros(startMs, timeS[row]))},`
    text += secondsText(timeS[row])
    for (let c = 0; c < writers.length; c++) text += `,${writers[c](row)}`
    text += lineEnd
    if (row % rowsPerChunk === rowsPerChunk - 1) {
      yield text
      text = ''
    }
  }
  if (text !== '') yield text
}

/** `engine_speed [rpm]`; a text has no unit. */
export function csvHeader({ name, unit }: Pick<ExportColumn, 'name' | 'unit'>): string {
  return unit === '' ? name : `${name} [${unit}]`
}

/** The line map with which `floatbowl import` reads such a CSV back; derived columns are left out, as they are derived again. */
export function csvLineMap(table: ExportTable): LineMap {
  const recorded = table.columns.filter(
    (column) => !column.derived && /^[A-Za-z][A-Za-z0-9_]{0,39}$/.test(column.name),
  )
  const hasDate = Number.isFinite(table.startMs)
  return {
    format: 'floatbowl-map 1',
    name: `export of ${table.run}`.slice(0, 80),
    lines: { by: 'divider', divider: ',' },
    comments: [],
    skip_lines: 0,
    skip_after_header: 0,
    decimal: '.',
    missing: [],
    clock: hasDate ? { field: 'time', format: 'iso8601' } : { field: 't [s]', format: 'seconds' },
    channels: recorded.map((column) => ({
      field: csvHeader(column),
      channel: column.name,
      unit: column.unit === '' ? '1' : column.unit,
    })),
    ...(table.records.length > 0 ? { records: [...table.records] } : {}),
  }
}

function quoted(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text
}

function secondsText(timeS: number): string {
  return timeS.toFixed(6)
}

function columnWriter(column: ExportColumn): (row: number) => string {
  if (column.kind === 'text') {
    const { codes } = column
    const names = column.names.map(quoted)
    return (row) => names[codes[row]] ?? ''
  }
  const { values } = column
  if (column.derived) return (row) => float64Text(Math.round(values[row] * derivedScale) / derivedScale)
  return values instanceof Float32Array
    ? (row) => float32Text(values[row])
    : (row) => float64Text(values[row])
}
