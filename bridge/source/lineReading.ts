import { readingOf, type SourceReading } from '../../core/capture/sourceDecoder.ts'
import type { LineMap } from '../../core/line/lineMap.ts'
import type { Decoder, DecoderSink } from './decoder.ts'
import { createBoardLines, createGpsLines, createMappedLines } from './decoders.ts'

/** How the lines of a source are read, and what the run says of it. */
export interface LineReading {
  createDecoder: (number: number, sink: DecoderSink) => Decoder
  /** What a person may try when bytes come and no line can be read. */
  unreadableText: string
  /** For the start record of a run, e.g. the line map, so that the run can be read without it. */
  describe?: Record<string, unknown>
  /** Another board's commands are unknown: nothing is sent to it. */
  isForeign?: boolean
}

/** Our own format. */
export function boardReading(): LineReading {
  return {
    createDecoder: createBoardLines,
    unreadableText:
      'bytes come but no line can be read: another board’s format? The page Link makes a line map of it',
    describe: { kind: 'board' },
  }
}

/** Another board's format, after a line map. */
export function mappedReading(map: LineMap): LineReading {
  return {
    createDecoder: createMappedLines(map),
    unreadableText: 'bytes come but no line fits the map: another format? The page Link shows the lines',
    describe: { kind: 'mapped', map },
    isForeign: true,
  }
}

/** A position receiver's sentences. */
export function receiverReading(): LineReading {
  return {
    createDecoder: createGpsLines,
    unreadableText: 'the receiver sends no sentences that can be read',
    describe: { kind: 'nmea' },
    isForeign: true,
  }
}

/** As a run says that one of its sources is read. */
export function recordedReading(source: number, sources: readonly unknown[]): LineReading {
  return readingFor(readingOf(source, sources))
}

function readingFor(reading: SourceReading): LineReading {
  const made =
    reading.kind === 'mapped'
      ? mappedReading(reading.map)
      : reading.kind === 'board'
        ? boardReading()
        : receiverReading()
  return { ...made, unreadableText: 'the run has lines that cannot be read' }
}
