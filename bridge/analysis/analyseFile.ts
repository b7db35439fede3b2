import { stat } from 'node:fs/promises'
import { createCaptureScanner } from '../../core/capture/captureScanner.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { createFeedSink, type FedResult, type FeedEnd, type FeedItem, type FeedStart } from './feed.ts'
import { openRun } from './openRun.ts'
import { startPipelineThread } from './startPipelineThread.ts'
import { isWorthThread } from './threadAhead.ts'

export interface AnalyseFileOptions extends FeedStart {
  /** Told now and then, how much of the file has been read. */
  readonly onProgress?: (share: number) => void
  /** What could not be used or was left out, in words. */
  readonly onProblems?: (problems: readonly string[]) => void
}

/** Size of a read, bytes: small, so that the thread beside has work at once; its messages cost little. */
const CHUNK_BYTES = 1 << 16

/**
 * Analyses a capture file, packed or not, as it is read: of a long run the pipeline works beside the reading, in a thread of its own.
 * @throws CaptureError when it is no capture, or the file system's error
 */
export async function analyseFile(path: string, options: AnalyseFileOptions = {}): Promise<RunAnalysis> {
  return (await analyse(path, options, false)) as RunAnalysis
}

/** The result alone as JSON, with the same steps. @throws as `analyseFile` */
export async function analyseFileToJson(path: string, options: AnalyseFileOptions = {}): Promise<string> {
  return (await analyse(path, options, true)) as string
}

/** Takes what the scanner found, chunk after chunk, and gives the result. */
export interface ItemTaker {
  take(items: FeedItem[]): Promise<void>
  end(end: FeedEnd, asText: boolean): Promise<FedResult>
  /** Nothing more will come. */
  close(): void
}

async function analyse(
  path: string,
  options: AnalyseFileOptions,
  asText: boolean,
): Promise<RunAnalysis | string> {
  const { size } = await stat(path)
  const taker = isWorthThread(path, size) ? startPipelineThread(options) : await createHere(options)
  try {
    const { file, bytes } = await openRun(path, CHUNK_BYTES)
    const items: FeedItem[] = []
    const scanner = createCaptureScanner({ decoderOf: decodeSource, emit: createFeedSink(items) })
    for await (const chunk of bytes) {
      scanner.push(chunk as Buffer)
      await taker.take(items.splice(0))
      options.onProgress?.(size > 0 ? file.bytesRead / size : 1)
    }
    const { counts, tornEnd } = scanner.end()
    await taker.take(items.splice(0))
    const { analysis, problems } = await taker.end({ counts, tornEnd, file: path }, asText)
    if (problems.length > 0) options.onProblems?.(problems)
    return analysis
  } finally {
    taker.close()
  }
}

async function createHere(start: FeedStart): Promise<ItemTaker> {
  const { createFedPipeline } = await import('./fedPipeline.ts')
  const pipeline = createFedPipeline(start)
  return {
    take: async (items) => pipeline.take(items),
    end: async (end, asText) => pipeline.end(end, asText),
    close() {},
  }
}
