import type { LineCounts } from '../contract/samples.ts'
import type { BoardSink } from './boardSink.ts'
import { createGpsDecoder, type GpsDecoder, type GpsFix } from './gpsDecoder.ts'
import { noLines } from './lineCounts.ts'
import type { LineDecoder } from './lineDecoder.ts'

export interface GpsLineDecoderOptions {
  source: number
  emit: BoardSink
  /** Positions in full precision. */
  fix?(fix: GpsFix): void
}

/** A position receiver's sentences behind the face that a board's decoder has: each fix is a sample, handed on at once. */
export function createGpsLineDecoder({ source, emit, fix }: GpsLineDecoderOptions): LineDecoder {
  const gps = createGpsDecoder({ source, block: (block) => emit.block(block), ...(fix ? { fix } : {}) })
  return {
    line(bytes, start, end, arrivalS) {
      let text = ''
      for (let i = start; i < end; i++) text += String.fromCharCode(bytes[i])
      gps.push(text, arrivalS)
    },
    // Samples never wait here.
    emitBlock() {},
    flush() {},
    get counts() {
      return gpsLineCounts(gps)
    },
  }
}

/** A receiver's counts in a board's words: sentences are its lines, fixes its samples. */
export function gpsLineCounts({ counts }: Pick<GpsDecoder, 'counts'>): LineCounts {
  return {
    ...noLines(),
    lines: counts.sentences,
    samples: counts.fixes,
    badChecksum: counts.badChecksum,
    unreadable: counts.unreadable,
  }
}
