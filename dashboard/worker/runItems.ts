import { createCaptureScanner } from '../../core/capture/captureScanner.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import type { Pipeline } from '../../core/contract/pipeline.ts'
import type { CaptureRecord, TimedNotice } from '../../core/contract/records.ts'
import type { BoardEvent, LineCounts, SampleBlock } from '../../core/contract/samples.ts'

/** One thing that a capture holds, in the order of the file. */
export type RunItem =
  | { kind: 'block'; block: SampleBlock }
  | { kind: 'event'; event: BoardEvent }
  | { kind: 'record'; timeS: number; record: CaptureRecord }
  | { kind: 'notice'; notice: TimedNotice }

export interface RunItemsEnd {
  counts: LineCounts
  tornEnd: boolean
  corruptLines: number
  invalidRecords: number
}

export interface RunItemReader {
  /** @throws CaptureError when the bytes are no capture */
  push(bytes: Uint8Array): void
  /** @throws CaptureError when no byte came */
  end(): RunItemsEnd
}

/**
 * Decodes a capture's bytes into items. Blocks are only valid during the call: `copyBlock` what is to be kept.
 */
export function createRunItemReader(onitem: (item: RunItem) => void): RunItemReader {
  const scanner = createCaptureScanner({
    decoderOf: decodeSource,
    emit: {
      block: (block) => onitem({ kind: 'block', block }),
      event: (event) => onitem({ kind: 'event', event }),
      identity: () => {},
      answer: () => {},
      record: ({ timeS, record }) => onitem({ kind: 'record', timeS, record }),
      notice: (notice) => onitem({ kind: 'notice', notice }),
    },
  })
  return {
    push: (bytes) => scanner.push(bytes),
    end() {
      const { counts, tornEnd, capture } = scanner.end()
      return {
        counts,
        tornEnd,
        corruptLines: capture.corruptLines,
        invalidRecords: capture.invalidRecords,
      }
    },
  }
}

export function copyBlock(block: SampleBlock): SampleBlock {
  const { count } = block
  return {
    ...block,
    timeS: block.timeS.slice(0, count),
    columns: block.columns.map((column) => column.slice(0, count)),
  }
}

/** Samples `[from, to)` of a block, as views. */
export function sliceBlock(block: SampleBlock, from: number, to: number): SampleBlock {
  return {
    ...block,
    count: to - from,
    timeS: block.timeS.subarray(from, to),
    columns: block.columns.map((column) => column.subarray(from, to)),
  }
}

/** Hands an item to a pipeline as the live page would. */
export function feed(pipeline: Pipeline, item: RunItem): void {
  if (item.kind === 'block') pipeline.push(item.block)
  else if (item.kind === 'event') pipeline.event(item.event)
  else if (item.kind === 'record') pipeline.record(item.timeS, item.record)
  else pipeline.notice(item.notice)
}
