import { createCaptureScanner } from '../capture/captureScanner.ts'
import { decodeSource, decodeSourceWithFixes } from '../capture/sourceDecoder.ts'
import type { DerivedColumns } from '../contract/derived.ts'
import type { PipelineOptions } from '../contract/pipeline.ts'
import type { CaptureRecord } from '../contract/records.ts'
import type { RunAnalysis } from '../contract/result.ts'
import type { SampleBlock } from '../contract/samples.ts'
import type { GpsFix } from '../line/gpsDecoder.ts'
import { createPipeline } from './createPipeline.ts'
import { createSampleBound } from './sampleBound.ts'

export interface AnalyseOptions extends PipelineOptions {
  /** Name of the file, for the result. */
  readonly file?: string
  /** Looks on as samples of any source are read; a block is valid during the call only. */
  readonly onBlock?: (block: SampleBlock) => void
  /** Records as they are read. */
  readonly onRecord?: (record: CaptureRecord) => void
  /** Positions in full precision. */
  readonly onFix?: (fix: GpsFix) => void
  /** Samples that are kept at most, over all sources; the result's `run.problems` tells of what was left out. Default `defaultMostSamples`. */
  readonly mostSamples?: number
}

/** Takes a capture's bytes as they come, cut anywhere, and gives the analysis at the end. */
export interface CaptureAnalyser {
  push(bytes: Uint8Array): void
  /** @throws CaptureError when what came is no capture */
  end(): RunAnalysis
  /** The analysis, and what was made of each sample, in place of `end`. @throws CaptureError as `end` */
  endWithColumns(): { analysis: RunAnalysis; columns: DerivedColumns }
}

/** Joins scanner, position receiver and pipeline. @throws CaptureError from `push` for a file that is no capture */
export function createCaptureAnalyser(options: AnalyseOptions = {}): CaptureAnalyser {
  const pipeline = createPipeline({ ...options, expectsResult: true })
  const { onBlock, onRecord, onFix, file, mostSamples } = options
  const bound = createSampleBound((block) => {
    onBlock?.(block)
    pipeline.push(block)
  }, mostSamples)
  const scanner = createCaptureScanner({
    decoderOf: onFix ? decodeSourceWithFixes(onFix) : decodeSource,
    emit: {
      block: bound.push,
      event: (event) => pipeline.event(event),
      record({ timeS, record }) {
        onRecord?.(record)
        pipeline.record(timeS, record)
      },
      notice: (notice) => pipeline.notice(notice),
    },
  })
  const whole = () => {
    const { counts, tornEnd } = scanner.end()
    return { counts, tornEnd, ...(file === undefined ? {} : { file }) }
  }
  return {
    push: (bytes) => scanner.push(bytes),
    end: () => bound.tellRest(pipeline.analysis(whole())),
    endWithColumns() {
      const { analysis, columns } = pipeline.analysisWithColumns!(whole())
      return { analysis: bound.tellRest(analysis), columns }
    },
  }
}

/**
 * Analyses a whole capture, unpacked: its bytes at once or in chunks.
 * @throws CaptureError when it is no capture that can be read
 */
export function analyseCapture(
  chunks: Uint8Array | Iterable<Uint8Array>,
  options: AnalyseOptions = {},
): RunAnalysis {
  const analyser = createCaptureAnalyser(options)
  if (chunks instanceof Uint8Array) analyser.push(chunks)
  else for (const chunk of chunks) analyser.push(chunk)
  return analyser.end()
}
