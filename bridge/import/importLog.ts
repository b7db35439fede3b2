import { once } from 'node:events'
import { createWriteStream } from 'node:fs'
import { mkdir, open, rm } from 'node:fs/promises'
import { basename, dirname } from 'node:path'
import { createGzip } from 'node:zlib'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import type { LineMap } from '../../core/line/lineMap.ts'
import type { LineMisfit } from '../../core/line/lineMapCounts.ts'
import { createLineMapReader } from '../../core/line/lineMapReader.ts'
import { BridgeError, writeProblem } from '../bridgeError.ts'
import { createSampleLines, declarationLines, shareOut } from './captureLines.ts'
import { type LogFile, openLog } from './logFile.ts'
import { createLogSurvey, type LogSurvey } from './logSurvey.ts'

export interface ImportOptions {
  readonly app: string
  /** Start, milliseconds since 1970, where the log's own clock does not say it. */
  readonly startMs?: number
  /** Records beside `start` and `stop`: car, fitted, air, title. */
  readonly records?: readonly CaptureRecord[]
  readonly onProgress?: (share: number) => void
}

export interface ImportReport {
  run: string
  /** ISO 8601. */
  start: string
  /** Where the start was taken from. */
  start_from: 'option' | 'clock' | 'file_date'
  seconds: number
  samples: number
  lines: number
  headers: number
  passed_over: number
  /** Lines that did not fit, a wrong checksum included. */
  unfit: number
  first_unfit?: LineMisfit
  clock_jumps: number
  channels: { channel: string; unit: string; readings: number; out_of_range: number; step: number }[]
  first_out_of_range?: LineMisfit
}

/**
 * Makes a run of a delimited log: two passes over the file in bounded memory, the first to see what fits and how many digits are stated, the second to
 * write. Every stated digit is kept, times to the microsecond.
 * @throws BridgeError `nothing_fits` with the first offending line, `exists` when there is a file already, `unreadable`, `cannot_write`, `bad_map`
 */
export async function importLog(
  path: string,
  map: LineMap,
  out: string,
  options: ImportOptions,
): Promise<ImportReport> {
  if (map.clock === undefined && map.rate_hz === undefined) {
    throw new BridgeError('bad_map', 'the map has neither clock nor rate_hz: a file needs one of them')
  }
  const log = await openLog(path)
  const survey = await surveyLog(log, map, options)
  checkFit(path, survey)
  const start = startOf(log, map, survey, options)
  // What the caller says goes over what the map says.
  const records = [...(map.records ?? []), ...(options.records ?? [])]
  await writeRun(path, log, map, survey, start, out, { ...options, records })
  return report(out, map, survey, start)
}

async function surveyLog(log: LogFile, map: LineMap, { onProgress }: ImportOptions): Promise<LogSurvey> {
  const survey = createLogSurvey(map)
  for await (const { bytes, share } of log.chunks()) {
    survey.push(bytes)
    onProgress?.(share / 2)
  }
  return survey.end()
}

function checkFit(path: string, { counts, channels }: LogSurvey): void {
  if (counts.lines === 0) throw new BridgeError('nothing_fits', `${path} is empty`)
  if (counts.fitting === 0) {
    const first = counts.firstMisfit
    if (first && isNoText(first.text)) {
      throw new BridgeError('nothing_fits', `${path} is no text: is it a log? Its ${describeMisfit(first)}`)
    }
    const where = first ? `; the first that does not, ${describeMisfit(first)}` : ''
    throw new BridgeError('nothing_fits', `none of the ${counts.lines} lines of ${path} fits the map${where}`)
  }
  if (channels.every(({ readings }) => readings === 0)) {
    const first = counts.firstOutOfRange
    const where = first ? `; the first, ${describeMisfit(first)}` : ''
    throw new BridgeError(
      'nothing_fits',
      `${counts.fitting} lines of ${path} fit the map, but no value is believable: are the columns right?${where}`,
    )
  }
}

/** Of a text's first line nearly all characters can be read; of other files' beginnings a third cannot. Chosen here. */
const unreadableShare = 0.1

function isNoText(text: string): boolean {
  const plain = printable(text)
  let unreadable = 0
  for (const character of plain) if (character === '·') unreadable++
  return unreadable > unreadableShare * plain.length
}

/** `line 17 "…": reason`, with what a terminal might obey taken out. */
export function describeMisfit({ line, text, reason }: LineMisfit): string {
  return `line ${line} "${printable(text)}": ${printable(reason)}`
}

function printable(text: string): string {
  let plain = ''
  for (const character of text) {
    const code = character.codePointAt(0) as number
    const isControl = code < 0x20 || (code >= 0x7f && code < 0xa0) || code === 0xfffd
    plain += isControl ? '·' : character
  }
  return plain
}

interface Start {
  readonly ms: number
  readonly from: ImportReport['start_from']
  /** Added to all times, so that the start is a whole millisecond. */
  readonly shiftS: number
}

function startOf(log: LogFile, map: LineMap, survey: LogSurvey, options: ImportOptions): Start {
  if (options.startMs !== undefined) return { ms: options.startMs, from: 'option', shiftS: 0 }
  if (map.clock?.format === 'iso8601') {
    const micros = Math.round(survey.firstClockS * 1e6)
    const ms = Math.floor(micros / 1000)
    return { ms, from: 'clock', shiftS: (micros - ms * 1000) / 1e6 }
  }
  return { ms: Math.round(log.changedMs - survey.seconds * 1000), from: 'file_date', shiftS: 0 }
}

async function writeRun(
  path: string,
  log: LogFile,
  map: LineMap,
  { channels: digits, seconds }: LogSurvey,
  start: Start,
  out: string,
  { app, records = [], onProgress }: ImportOptions,
): Promise<void> {
  const sources = shareOut(map, digits)
  const writer = await createWriter(out)
  try {
    const first = {
      type: 'start' as const,
      at: new Date(start.ms).toISOString(),
      app,
      // A log's own clock is read as UTC; any other start is a moment here.
      zone: start.from === 'clock' ? 'UTC' : Intl.DateTimeFormat().resolvedOptions().timeZone,
      ...carOf(records),
      sources: sources.map(({ number }) => ({ source: number, kind: 'board', name: basename(path) })),
    }
    let text = `${captureHeader}\n${[first, ...records].map((record) => formatCaptureLine(0, '=', record)).join('')}`
    for (const source of sources) text += declarationLines(map, source, digits)
    const sampleLines = createSampleLines(sources, digits)
    const reader = createLineMapReader(map, {
      timing: 'file',
      emit: { block() {} },
      row(timeS, values) {
        text += sampleLines(timeS + start.shiftS, values)
      },
    })
    for await (const { bytes, share } of log.chunks()) {
      reader.push(bytes, 0)
      await writer.write(text)
      text = ''
      onProgress?.((1 + share) / 2)
    }
    reader.flush()
    await writer.write(
      text + formatCaptureLine(seconds + start.shiftS, '=', { type: 'stop', reason: 'imported' }),
    )
    await writer.end()
  } catch (error) {
    await writer.abandon()
    if (error instanceof BridgeError) throw error
    throw new BridgeError('cannot_write', writeProblem(out, error), { cause: error })
  }
}

function carOf(records: readonly CaptureRecord[]): { car?: string } {
  for (const record of records.toReversed()) if (record.type === 'car') return { car: record.car.id }
  return {}
}

/** A new file, packed when its name says so; an existing one is never touched. */
async function createWriter(out: string) {
  await mkdir(dirname(out), { recursive: true }).catch(() => {
    // Said by the opening below, with the reason.
  })
  const handle = await open(out, 'wx').catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'EEXIST') {
      throw new BridgeError(
        'exists',
        `${out} is there already: a run is never overwritten, choose another name`,
      )
    }
    throw new BridgeError('cannot_write', writeProblem(out, error), { cause: error })
  })
  const file = createWriteStream(out, { fd: handle.fd, autoClose: false })
  const target = out.endsWith('.gz') ? createGzip() : file
  if (target !== file) target.pipe(file)
  let failure: Error | undefined
  const failed = new Promise<never>((_, reject) => {
    for (const stream of [file, target]) {
      stream.on('error', (error: Error) => {
        failure ??= error
        reject(error)
      })
    }
  })
  failed.catch(() => {})
  return {
    async write(text: string): Promise<void> {
      if (failure) throw failure
      if (text !== '' && !target.write(text)) await Promise.race([once(target, 'drain'), failed])
    },
    async end(): Promise<void> {
      target.end()
      await Promise.race([once(file, 'finish'), failed])
      await handle.sync()
      await handle.close()
    },
    async abandon(): Promise<void> {
      target.destroy()
      file.destroy()
      await handle.close().catch(() => {})
      await rm(out, { force: true })
    },
  }
}

function report(
  out: string,
  map: LineMap,
  { counts, channels, seconds }: LogSurvey,
  start: Start,
): ImportReport {
  return {
    run: out,
    start: new Date(start.ms).toISOString(),
    start_from: start.from,
    seconds,
    samples: counts.samples,
    lines: counts.lines,
    headers: counts.headers,
    passed_over: counts.passedOver,
    unfit: counts.unreadable + counts.badChecksum,
    ...(counts.firstMisfit ? { first_unfit: counts.firstMisfit } : {}),
    clock_jumps: counts.clockJumps,
    channels: map.channels.map(({ channel, unit }, i) => ({
      channel,
      unit,
      readings: channels[i].readings,
      out_of_range: counts.outOfRange[i],
      step: Number(`1e-${channels[i].decimals}`),
    })),
    ...(counts.firstOutOfRange ? { first_out_of_range: counts.firstOutOfRange } : {}),
  }
}
