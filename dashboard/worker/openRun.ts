import { CaptureError } from '../../core/capture/captureError.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { ReplayReadings } from './replayReadings.ts'
import { RunColumns } from './runColumns.ts'
import { copyBlock, createRunItemReader, feed, type RunItem } from './runItems.ts'
import type { OpenedRun, OpenRequest } from './runMessages.ts'

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

const gzipMagic = [0x1f, 0x8b]

/**
 * Streams a run's bytes through the pipeline.
 * @throws OpenError when there is nothing that can be opened
 */
export async function openRun(
  request: OpenRequest,
  signal: AbortSignal,
  onprogress: (share: number | null, words: string) => void,
): Promise<OpenRun> {
  const beganMs = performance.now()
  const items: RunItem[] = []
  const columns = new RunColumns()
  const pipeline = createPipeline({ car: request.car, targets: request.targets })
  const reader = createRunItemReader((item) => {
    feed(pipeline, item)
    if (!request.keeps) return
    if (item.kind === 'block') {
      columns.push(item.block)
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
      onprogress(total ? Math.min(0.99, done / total) : null, 'Reading the run')
    }
  } catch (error) {
    if (signal.aborted) throw new OpenError('cancelled', 'opening was stopped')
    if (error instanceof CaptureError) throw new OpenError(error.code, captureWords(error), error)
    // What came before the break is whole: it is opened, and the break is said.
    if (done === 0) throw new OpenError('unreadable', 'The file cannot be read.', error)
    skipped.push('The file breaks off: what came before the break is shown.')
  } finally {
    bytes.releaseLock()
  }
  if (signal.aborted) throw new OpenError('cancelled', 'opening was stopped')
  onprogress(null, 'Working out the mixture')
  let end: ReturnType<typeof reader.end>
  try {
    end = reader.end()
  } catch (error) {
    if (error instanceof CaptureError) throw new OpenError(error.code, captureWords(error), error)
    throw error
  }
  if (end.corruptLines > 0) skipped.push(`${end.corruptLines} damaged lines were passed over.`)
  if (end.invalidRecords > 0) skipped.push(`${end.invalidRecords} records could not be read.`)
  const readMs = performance.now()
  const { source } = request
  const analysis = pipeline.analysis({
    counts: end.counts,
    tornEnd: end.tornEnd,
    ...(source.kind === 'file' ? { file: source.name } : {}),
  })
  if (request.keeps) columns.layLambda(items, analysis)
  const board = columns.board
  const endedMs = performance.now()
  return {
    opened: {
      analysis,
      channels: columns.channels,
      startS: board && board.count > 0 ? board.timeS[0] : 0,
      endS: board && board.count > 0 ? board.timeS[board.count - 1] : analysis.result.run.seconds,
      analysedMs: endedMs - readMs,
      openedMs: endedMs - beganMs,
      skipped,
    },
    columns,
    replay: new ReplayReadings(items, request.car),
  }
}

async function openStream(
  { source }: OpenRequest,
  signal: AbortSignal,
): Promise<{ stream: ReadableStream<Uint8Array>; total: number | undefined }> {
  if (source.kind === 'bridge') {
    let answer: Response
    try {
      answer = await fetch(source.url, { signal, cache: 'no-store' })
    } catch (error) {
      if (signal.aborted) throw new OpenError('cancelled', 'opening was stopped')
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
  const isPacked = head[0] === gzipMagic[0] && head[1] === gzipMagic[1]
  const stream: ReadableStream<Uint8Array> = source.blob.stream()
  if (!isPacked) return { stream, total: source.blob.size }
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
