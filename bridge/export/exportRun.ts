import { randomBytes } from 'node:crypto'
import { once } from 'node:events'
import { createWriteStream } from 'node:fs'
import { mkdir, rename, rm, stat } from 'node:fs/promises'
import { basename, dirname, join } from 'node:path'
import type { Writable } from 'node:stream'
import { BridgeError } from '../bridgeError.ts'
import { csvChunks, csvLineMap } from './csv.ts'
import { type ExportTable, type ReadTableOptions, readExportTable } from './exportTable.ts'
import { gpxChunks } from './gpx.ts'
import { reduceRate, selectColumns } from './selectColumns.ts'

export const exportFormats = ['csv', 'parquet', 'gpx'] as const
export type ExportFormat = (typeof exportFormats)[number]

export interface ExportOptions extends ReadTableOptions {
  readonly to: ExportFormat
  /** Rows a second at most; default the run's own. */
  readonly rateHz?: number
  /** Names of the columns wanted, in this order; default all. */
  readonly channels?: readonly string[]
  /** Name of the run in what is written, default that of its file. */
  readonly name?: string
}

/** The run as it is to be written. @throws BridgeError when it cannot be read or lacks a wanted channel */
export async function loadTable(path: string, options: ExportOptions): Promise<ExportTable> {
  let table = await readExportTable(path, options)
  if (options.name !== undefined) table = { ...table, run: options.name }
  if (options.channels) table = selectColumns(table, options.channels)
  return options.rateHz === undefined ? table : reduceRate(table, options.rateHz)
}

/**
 * Writes one run's export to a file, which appears only when it is whole; an earlier export of that name is replaced, a capture never.
 * @throws BridgeError as `loadTable`, and `bad_target` for a target that is a capture
 */
export async function exportToFile(path: string, target: string, options: ExportOptions): Promise<void> {
  await writeTable(await loadTable(path, options), target, options.to)
}

/** As `exportToFile`, for a table at hand. */
export async function writeTable(table: ExportTable, target: string, to: ExportFormat): Promise<void> {
  if (/\.capture(\.gz)?$/.test(target))
    throw new BridgeError('bad_target', `${target} is named as a recording: choose another name`)
  if ((await stat(target).catch(() => undefined))?.isDirectory())
    throw new BridgeError('bad_target', `${target} is a directory`)
  await mkdir(dirname(target), { recursive: true })
  const whole = join(dirname(target), `.${basename(target)}.${randomBytes(4).toString('hex')}.part`)
  try {
    if (to === 'parquet') {
      const { fileWriter } = await import('hyparquet-writer')
      const { writeParquet } = await import('./parquet.ts')
      writeParquet(table, fileWriter(whole))
    } else {
      const file = createWriteStream(whole, { encoding: 'utf8' })
      const failed = once(file, 'error').then(([error]) => Promise.reject(error as Error))
      // Awaited below; told apart here so that no rejection is left unhandled while rows are made.
      failed.catch(() => {})
      await Promise.race([writeChunks(table, to, file), failed])
      file.end()
      await Promise.race([once(file, 'close'), failed])
    }
    await rename(whole, target)
  } catch (error) {
    await rm(whole, { force: true })
    throw error
  }
}

/** Writes one run's export to a stream, which stays open. */
export async function streamTable(table: ExportTable, stream: Writable, to: ExportFormat): Promise<void> {
  if (to !== 'parquet') {
    await writeChunks(table, to, stream)
    return
  }
  const { ByteWriter } = await import('hyparquet-writer')
  const { writeParquet } = await import('./parquet.ts')
  const writer = new ByteWriter()
  writeParquet(table, writer)
  if (!stream.write(writer.getBytes())) await once(stream, 'drain')
}

async function writeChunks(table: ExportTable, to: 'csv' | 'gpx', stream: Writable): Promise<void> {
  for (const chunk of to === 'csv' ? csvChunks(table) : gpxChunks(table)) {
    if (!stream.write(chunk)) await once(stream, 'drain')
  }
}

/** Text of the line map that reads a run's CSV back (`floatbowl import --map`). */
export function mapText(table: ExportTable): string {
  return `${JSON.stringify(csvLineMap(table), null, 2)}\n`
}
