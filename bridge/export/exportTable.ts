import { stat } from 'node:fs/promises'
import { basename } from 'node:path'
import type { CarProfile } from '../../core/contract/car.ts'
import type { DerivedColumns } from '../../core/contract/derived.ts'
import { type CaptureRecord, wholeRunTypes } from '../../core/contract/records.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import type { GpsFix } from '../../core/line/gpsDecoder.ts'
import { createCaptureAnalyser } from '../../core/pipeline/analyseCapture.ts'
import { openRun } from '../analysis/openRun.ts'
import { BridgeError, problemText } from '../bridgeError.ts'
import { OtherColumns } from './otherColumns.ts'

interface ColumnName {
  readonly name: string
  /** As in a board's declaration; empty for a text. */
  readonly unit: string
  /** True for what was worked out, false for what was recorded. */
  readonly derived: boolean
}

/** One column of an exported run; NaN, or a code beyond the names, is no value. */
export type ExportColumn = ColumnName &
  (
    | { readonly kind: 'number'; readonly values: Float32Array | Float64Array }
    | { readonly kind: 'text'; readonly codes: Uint8Array; readonly names: readonly string[] }
  )

/** A run as a table: its rows are the samples of the source that carries λ. */
export interface ExportTable {
  /** File name without its ending. */
  readonly run: string
  readonly analysis: RunAnalysis
  /** Milliseconds since 1970 at capture second 0, NaN when the run does not say. */
  readonly startMs: number
  readonly timeS: Float64Array
  readonly columns: readonly ExportColumn[]
  readonly positions: readonly GpsFix[]
  /** What the run, or the caller, says of car, parts, air and the sensor in free air, the newest of each. */
  readonly records: readonly CaptureRecord[]
}

export interface ReadTableOptions {
  /** Car profile in place of the run's own. */
  readonly car?: CarProfile
  readonly onProgress?: (share: number) => void
}

/**
 * Reads a capture, packed or not, into a table: recorded channels in inside units, then what the pipeline makes of them. Memory goes with the length of
 * the run: about 200 bytes a sample at twelve channels.
 * @throws BridgeError `unreadable` for a file that is no capture, `no_samples` for one without samples
 */
export async function readExportTable(path: string, options: ReadTableOptions = {}): Promise<ExportTable> {
  const others = new OtherColumns()
  const { car, onProgress } = options
  const records = new Map<string, CaptureRecord>()
  const analyser = createCaptureAnalyser({
    file: path,
    ...(car ? { car, carWins: true } : {}),
    onBlock: (block) => others.block(block),
    onRecord(record) {
      if (wholeRunTypes.has(record.type)) records.set(keyOf(record), record)
    },
    onFix: (fix) => others.fix(fix),
  })
  try {
    const { size } = await stat(path)
    const { file, bytes } = await openRun(path, 1 << 20)
    for await (const chunk of bytes) {
      analyser.push(chunk as Buffer)
      onProgress?.(size > 0 ? file.bytesRead / size : 1)
    }
    const { analysis, columns } = analyser.endWithColumns()
    if (car) records.set('car', { type: 'car', car })
    if (columns.timeS.length === 0)
      throw new BridgeError('no_samples', 'the run holds no samples: nothing to export')
    return {
      run: runName(path),
      analysis,
      startMs: analysis.startMs,
      timeS: columns.timeS,
      columns: [...recordedColumns(columns), ...others.columns(columns.timeS), ...derivedColumns(columns)],
      positions: others.positions(),
      records: [...records.values()],
    }
  } catch (error) {
    if (error instanceof BridgeError) throw error
    throw new BridgeError('unreadable', problemText(error), { cause: error })
  }
}

/** Of each bank's sensor the newest is kept. */
const keyOf = (record: CaptureRecord) =>
  record.type === 'free_air' ? `${record.type} ${record.bank}` : record.type

/** Name of a run's exports: that of its file, without what a file system might refuse. */
export function runName(path: string): string {
  return (
    basename(path)
      .replace(/\.gz$/, '')
      .replace(/\.capture$/, '')
      .replace(/[^A-Za-z0-9_.+-]/g, '-') || 'run'
  )
}

function recordedColumns({ channels }: DerivedColumns): ExportColumn[] {
  return channels.map(({ name, unit, values }) => ({ kind: 'number', name, unit, derived: false, values }))
}

function derivedColumns(columns: DerivedColumns): ExportColumn[] {
  const { stoichiometricRatio } = columns
  const number = (name: string, values: Float32Array): ExportColumn => {
    return { kind: 'number', name, unit: '1', derived: true, values }
  }
  const text = (name: string, codes: Uint8Array, names: readonly string[]): ExportColumn => {
    return { kind: 'text', name, unit: '', derived: true, codes, names }
  }
  return [
    ...columns.banks.flatMap(({ bank, lambda, lambdaAtCause, trust }) => {
      const suffix = bank === 2 ? '_2' : ''
      return [
        number(`lambda_trusted${suffix}`, lambda),
        number(`lambda_at_cause${suffix}`, lambdaAtCause),
        number(
          `afr${suffix}`,
          lambda.map((value) => value * stoichiometricRatio),
        ),
        text(`trust${suffix}`, trust, columns.trustNames),
      ]
    }),
    text('state', columns.state, columns.stateNames),
  ]
}
