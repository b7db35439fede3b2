import type { SchemaElement } from 'hyparquet'
import { type ColumnSource, ParquetWriter, type Writer } from 'hyparquet-writer'
import type { ExportColumn, ExportTable } from './exportTable.ts'
import { utcMicros } from './numberText.ts'

/** Rows of a group: what a reader must hold at once. Common practice, no source. */
const rowsPerGroup = 100_000

/**
 * Writes the table as Parquet: numbers as FLOAT (positions as DOUBLE) with byte-stream split and Snappy, times as UTC timestamps of microseconds, texts from
 * a dictionary, null for what is missing, and the run's name in every row. Units, car, parts, air and marks go into the key-value metadata.
 */
export function writeParquet(table: ExportTable, writer: Writer): void {
  const parquet = new ParquetWriter({
    writer,
    schema: schemaOf(table),
    createdBy: 'floatbowl',
    kvMetadata: parquetMetadata(table),
  })
  const count = table.timeS.length
  for (let first = 0; first < count; first += rowsPerGroup) {
    const end = Math.min(count, first + rowsPerGroup)
    void parquet.write({ columnData: rowGroup(table, first, end), rowGroupSize: end - first })
  }
  void parquet.finish()
}

/** Key-value metadata of a run's file. */
export function parquetMetadata(table: ExportTable): { key: string; value: string }[] {
  const { analysis, columns, run } = table
  const { result } = analysis
  const units = Object.fromEntries([
    ['t_s', 's'],
    ...columns.filter(({ unit }) => unit !== '').map(({ name, unit }) => [name, unit]),
  ])
  const facts: [string, unknown][] = [
    ['floatbowl.format', 'floatbowl-export 1'],
    ['floatbowl.run', run],
    ['floatbowl.units', units],
    ['floatbowl.derived', columns.filter(({ derived }) => derived).map(({ name }) => name)],
    ['floatbowl.car', analysis.car],
    ['floatbowl.start', result.run.start],
    ['floatbowl.title', result.run.title],
    ['floatbowl.fitted', result.run.fitted],
    ['floatbowl.air', result.run.air],
    ['floatbowl.marks', result.run['marks']],
    ['floatbowl.delay', result.delay],
  ]
  return facts
    .filter(([, value]) => value !== undefined)
    .map(([key, value]) => ({ key, value: typeof value === 'string' ? value : JSON.stringify(value) }))
}

function schemaOf({ columns, startMs }: ExportTable): SchemaElement[] {
  const fields: SchemaElement[] = []
  if (Number.isFinite(startMs)) {
    fields.push({
      name: 'time',
      type: 'INT64',
      repetition_type: 'REQUIRED',
      converted_type: 'TIMESTAMP_MICROS',
      logical_type: { type: 'TIMESTAMP', isAdjustedToUTC: true, unit: 'MICROS' },
    })
  }
  fields.push({ name: 't_s', type: 'DOUBLE', repetition_type: 'REQUIRED' })
  fields.push({ name: 'run', type: 'BYTE_ARRAY', converted_type: 'UTF8', repetition_type: 'REQUIRED' })
  for (const column of columns) {
    if (column.kind === 'text')
      fields.push({
        name: column.name,
        type: 'BYTE_ARRAY',
        converted_type: 'UTF8',
        repetition_type: 'OPTIONAL',
      })
    else
      fields.push({
        name: column.name,
        type: column.values instanceof Float32Array ? 'FLOAT' : 'DOUBLE',
        repetition_type: 'OPTIONAL',
      })
  }
  return [{ name: 'root', num_children: fields.length }, ...fields]
}

function rowGroup(table: ExportTable, first: number, end: number): ColumnSource[] {
  const { timeS, columns, startMs, run } = table
  const data: ColumnSource[] = []
  if (Number.isFinite(startMs)) {
    const micros = new BigInt64Array(end - first)
    for (let i = first; i < end; i++) micros[i - first] = BigInt(utcMicros(startMs, timeS[i]))
    data.push({ name: 'time', data: micros, encoding: 'DELTA_BINARY_PACKED' })
  }
  data.push({ name: 't_s', data: timeS.subarray(first, end), encoding: 'BYTE_STREAM_SPLIT' })
  data.push({ name: 'run', data: new Array(end - first).fill(run) })
  for (const column of columns) data.push(columnOf(column, first, end))
  return data
}

function columnOf(column: ExportColumn, first: number, end: number): ColumnSource {
  const { name } = column
  if (column.kind === 'text') {
    const { codes, names } = column
    return { name, data: Array.from(codes.subarray(first, end), (code) => names[code] ?? null) }
  }
  const values = column.values.subarray(first, end)
  // A query's mean leaves null out; NaN would spoil it.
  const data = values.some(Number.isNaN)
    ? Array.from(values, (value) => (Number.isNaN(value) ? null : value))
    : values
  return { name, data, encoding: 'BYTE_STREAM_SPLIT' }
}
