import { createCaptureScanner } from '../capture/captureScanner.ts'
import { decodeSource, decodeSourceWithFixes } from '../capture/sourceDecoder.ts'
import type { DerivedColumns } from '../contract/derived.ts'
import type { PipelineOptions } from '../contract/pipeline.ts'
import type { RunAnalysis } from '../contract/result.ts'
import type { SampleBlock } from '../contract/samples.ts'
import type { GpsFix } from '../line/gpsDecoder.ts'
import { createPipeline } from './createPipeline.ts'

export interface AnalyseOptions extends PipelineOptions {
  /** Name of the file, for the result. */
  readonly file?: string
  /** Looks on as samples of any source are read; a block is valid during the call only. */
  readonly onBlock?: (block: SampleBlock) => void
  /** Positions in full precision. */
  readonly onFix?: (fix: GpsFix) => void
  /** Samples that are kept at most, over all sources; the result's `run.problems` tells of what was left out. Default `defaultMostSamples`. */
  readonly mostSamples?: number
}

/** 22 hours at 100 Hz. Memory goes with the samples, about 200 bytes each: so a file of any size ends within 2 GB. Chosen here. */
export const defaultMostSamples = 8_000_000

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
  const pipeline = createPipeline(options)
  const { onBlock, onFix, file, mostSamples = defaultMostSamples } = options
  let kept = 0
  let keptToS = Number.NaN
  let leftOut = 0
  const take = (whole: SampleBlock) => {
    const count = Math.min(whole.count, mostSamples - kept)
    leftOut += whole.count - count
    if (count === 0) return
    const block = count === whole.count ? whole : { ...whole, count }
    kept += count
    keptToS = block.timeS[count - 1]
    onBlock?.(block)
    pipeline.push(block)
  }
  const tellRest = <T extends RunAnalysis>(analysis: T): T => {
    if (leftOut === 0) return analysis
    const text = `the run is longer than fits in memory: analysed up to ${Math.round(keptToS)} s, ${leftOut} later samples left out`
    const { run } = analysis.result
    const problems = [...((run['problems'] as string[] | undefined) ?? []), text]
    return { ...analysis, result: { ...analysis.result, run: { ...run, problems } } }
  }
  const scanner = createCaptureScanner({
    decoderOf: onFix ? decodeSourceWithFixes(onFix) : decodeSource,
    emit: {
      block: take,
      event: (event) => pipeline.event(event),
      record: ({ timeS, record }) => pipeline.record(timeS, record),
      notice: (notice) => pipeline.notice(notice),
    },
  })
  const whole = () => {
    const { counts, tornEnd } = scanner.end()
    return { counts, tornEnd, ...(file === undefined ? {} : { file }) }
  }
  return {
    push: (bytes) => scanner.push(bytes),
    end: () => tellRest(pipeline.analysis(whole())),
    endWithColumns() {
      const { analysis, columns } = pipeline.analysisWithColumns!(whole())
      return { analysis: tellRest(analysis), columns }
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
