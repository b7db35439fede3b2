import { CaptureError } from '../../core/capture/captureError.ts'
import { isPacked } from '../../core/capture/packed.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { priorDelayLaw } from '../../core/engine/delayLaw.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { ReplayReadings } from './replayReadings.ts'
import { RunColumns } from './runColumns.ts'
import { copyBlock, createRunItemReader, feed, type RunItem, type RunItemsEnd } from './runItems.ts'
import type { OpenedRun, OpenRequest, ScannedRun } from './runMessages.ts'

/** A run that was opened, with what replay and charts need. */
export interface OpenRun {
  opened: OpenedRun
  columns: RunColumns
  replay: ReplayReadings
}

/** What went wrong in opening, with a code for the log. */
export class OpenError extends Error {
  readonly code: string
  constructor(code: string, text: string, cause?: unknown) {
    super(text, { cause })
    this.name = 'OpenError'
    this.code = code
  }
}

/** Width of the first picture, columns. */
const overviewColumns = 1200
/** Requests are answered at least this often while a run is worked out, ms. */
const sliceMs = 30

export interface OpenListener {
  progress(share: number | null, words: string): void
  /** The bytes are read: columns can be drawn while the rest is worked out. */
  scanned(scanned: ScannedRun): void
}

/**
 * Reads a run's bytes, and then runs them through the pipeline.
 * @throws OpenError when there is nothing that can be opened
 */
export async function openRun(
  request: OpenRequest,
  signal: AbortSignal,
  listener: OpenListener,
): Promise<OpenRun> {
  const beganMs = performance.now()
  const { items, columns, end, skipped } = await scan(request, signal, listener)
  const replay = new ReplayReadings(items, request.car)
  const board = columns.board
  const startS = board && board.count > 0 ? board.timeS[0] : 0
  const endS = board && board.count > 0 ? board.timeS[board.count - 1] : 0
  if (request.keeps) {
    columns.layLambda(items, request.car, priorDelayLaw)
    const { channels } = columns
    const shown = channels.find(({ derived }) => derived) ?? channels[0]
    const overview = columns.answer(startS, endS, overviewColumns, shown ? [shown.name] : [])
    listener.scanned({ channels, startS, endS, overview })
  }
  const readMs = performance.now()
  const analysis = await analyse(request, items, end, signal, listener)
  const { delay, run } = analysis.result
  if (request.keeps) {
    const law = { aS: delay.a_s, bSRpmKpa: delay.b_s_rpm_kPa }
    columns.layLambda(items, analysis.car, law, run.learned)
  }
  const endedMs = performance.now()
  const opened: OpenedRun = {
    analysis,
    channels: columns.channels,
    startS,
    endS: Math.max(startS, endS),
    analysedMs: endedMs - readMs,
    openedMs: endedMs - beganMs,
    skipped,
  }
  return { opened, columns, replay }
}

/** First pass: bytes to items and columns. */
async function scan(request: OpenRequest, signal: AbortSignal, listener: OpenListener) {
  const items: RunItem[] = []
  const columns = new RunColumns()
  const reader = createRunItemReader((item) => {
    if (item.kind === 'block') {
      if (request.keeps) columns.push(item.block)
      items.push({ kind: 'block', block: copyBlock(item.block) })
    } else items.push(item)
  })
  const skipped: string[] = []
  const { stream, total } = await openStream(request, signal)
  let done = 0
  const bytes = stream.getReader()
  try {
    for (;;) {
      const next = await bytes.read()
      if (next.done) break
      reader.push(next.value)
      done += next.value.length
      listener.progress(total ? Math.min(0.99, done / total) : null, 'Reading the run')
    }
  } catch (error) {
    if (signal.aborted) throw cancelled()
    if (error instanceof CaptureError) throw new OpenError(error.code, captureWords(error), error)
    // What came before the break is whole: it is opened, and the break is said.
    if (done === 0) throw new OpenError('unreadable', 'The file cannot be read.', error)
    skipped.push('The file breaks off: what came before the break is shown.')
  } finally {
    bytes.releaseLock()
  }
  if (signal.aborted) throw cancelled()
  try {
    const end = reader.end()
    if (end.corruptLines > 0) skipped.push(`${end.corruptLines} damaged lines were passed over.`)
    if (end.invalidRecords > 0) skipped.push(`${end.invalidRecords} records could not be read.`)
    return { items, columns, end, skipped }
  } catch (error) {
    if (error instanceof CaptureError) throw new OpenError(error.code, captureWords(error), error)
    throw error
  }
}

/** Second pass: items through the pipeline, with pauses in which requests are answered. */
async function analyse(
  request: OpenRequest,
  items: readonly RunItem[],
  end: RunItemsEnd,
  signal: AbortSignal,
  listener: OpenListener,
): Promise<RunAnalysis> {
  const pipeline = createPipeline({ car: request.car, targets: request.targets })
  let pausedMs = performance.now()
  for (let i = 0; i < items.length; i++) {
    feed(pipeline, items[i])
    if (performance.now() - pausedMs < sliceMs) continue
    listener.progress(Math.min(0.99, (i / items.length) * 0.6), 'Working out the mixture')
    await new Promise<void>((resolve) => setTimeout(resolve, 0))
    if (signal.aborted) throw cancelled()
    pausedMs = performance.now()
  }
  const { source } = request
  return pipeline.analysis({
    counts: end.counts,
    tornEnd: end.tornEnd,
    ...(source.kind === 'file' ? { file: source.name } : {}),
  })
}

const cancelled = () => new OpenError('cancelled', 'Opening was stopped.')

async function openStream(
  { source }: OpenRequest,
  signal: AbortSignal,
): Promise<{ stream: ReadableStream<Uint8Array>; total: number | undefined }> {
  if (source.kind === 'bridge') {
    let answer: Response
    try {
      answer = await fetch(source.url, { signal, cache: 'no-store' })
    } catch (error) {
      if (signal.aborted) throw cancelled()
      throw new OpenError('offline', 'The bridge does not answer.', error)
    }
    if (answer.status === 404) throw new OpenError('no_run', 'There is no such run on the bridge.')
    if (answer.status === 401 || answer.status === 403)
      throw new OpenError('not_paired', 'This screen is not paired with the bridge.')
    if (!answer.ok || !answer.body)
      throw new OpenError('bridge', `The bridge answered ${answer.status} in place of the run.`)
    return { stream: answer.body, total: source.bytes }
  }
  const head = new Uint8Array(await source.blob.slice(0, 2).arrayBuffer())
  const stream: ReadableStream<Uint8Array> = source.blob.stream()
  if (!isPacked(head)) return { stream, total: source.blob.size }
  const unpacked = stream.pipeThrough(
    new DecompressionStream('gzip') as ReadableWritablePair<Uint8Array, Uint8Array>,
  )
  return { stream: unpacked, total: undefined }
}

function captureWords(error: CaptureError): string {
  switch (error.code) {
    case 'empty':
      return 'The file is empty.'
    case 'newer_version':
      return 'The file was written by a newer version of this program.'
    default:
      return 'This is no run: its first line is not that of a capture file.'
  }
}
