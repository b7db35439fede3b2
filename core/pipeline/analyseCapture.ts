import { createCaptureScanner } from '../capture/captureScanner.ts'
import type { PipelineOptions } from '../contract/pipeline.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { createGpsDecoder, type GpsDecoder } from '../line/gpsDecoder.ts'
import { createPipeline } from './createPipeline.ts'

export interface AnalyseOptions extends PipelineOptions {
  /** Name of the file, for the result. */
  readonly file?: string
}

/** Takes a capture's bytes as they come, cut anywhere, and gives the analysis at the end. */
export interface CaptureAnalyser {
  push(bytes: Uint8Array): void
  /** @throws CaptureError when what came is no capture */
  end(): RunAnalysis
}

/** Joins scanner, position receiver and pipeline. @throws CaptureError from `push` for a file that is no capture */
export function createCaptureAnalyser(options: AnalyseOptions = {}): CaptureAnalyser {
  const pipeline = createPipeline(options)
  const receivers = new Map<number, GpsDecoder>()
  const scanner = createCaptureScanner({
    emit: {
      block: (block) => pipeline.push(block),
      event: (event) => pipeline.event(event),
      record: ({ timeS, record }) => pipeline.record(timeS, record),
      notice: (notice) => pipeline.notice(notice),
      line(source, timeS, text) {
        if (source === 0 || !text.startsWith('$')) return
        let receiver = receivers.get(source)
        if (!receiver) {
          receiver = createGpsDecoder({ source, block: (block) => pipeline.push(block) })
          receivers.set(source, receiver)
        }
        receiver.push(text, timeS)
      },
    },
  })
  return {
    push: (bytes) => scanner.push(bytes),
    end() {
      const { counts, tornEnd } = scanner.end()
      return pipeline.analysis({
        counts,
        tornEnd,
        ...(options.file === undefined ? {} : { file: options.file }),
      })
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
