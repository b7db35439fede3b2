import { createBoardDecoder } from '../line/boardDecoder.ts'
import type { BoardSink } from '../line/boardSink.ts'
import type { GpsFix } from '../line/gpsDecoder.ts'
import { createGpsLineDecoder } from '../line/gpsLineDecoder.ts'
import type { LineDecoder } from '../line/lineDecoder.ts'
import { type LineMap, lineMapSchema } from '../line/lineMap.ts'
import { createLineMapReader } from '../line/lineMapReader.ts'

interface SourceEntry {
  readonly source?: unknown
  readonly kind?: unknown
  readonly map?: unknown
}

/** How the lines of one source of a run are to be read. */
export type SourceReading =
  | { readonly kind: 'board' }
  | { readonly kind: 'mapped'; readonly map: LineMap }
  | { readonly kind: 'nmea' }

/**
 * How a run says that a source is read: by the line map that its entry in the `start` record (or in a later `read_as` notice) carries as `map`, else as the
 * board's format for source 0 and for one of `kind` "board", else as a position receiver's sentences. A damaged map counts as none.
 */
export function readingOf(source: number, sources: readonly unknown[]): SourceReading {
  const entry = sources.find((each) => (each as SourceEntry | null)?.source === source) as
    | SourceEntry
    | undefined
  const map = lineMapSchema.safeParse(entry?.map).data
  if (map) return { kind: 'mapped', map }
  if (entry?.kind === 'nmea') return { kind: 'nmea' }
  return { kind: source === 0 || entry?.kind === 'board' ? 'board' : 'nmea' }
}

/** Decoder of a run's source, for `createCaptureScanner`'s `decoderOf`. */
export function decodeSource(source: number, sources: readonly unknown[], emit: BoardSink): LineDecoder {
  return decodeReading(source, readingOf(source, sources), emit)
}

/** As `decodeSource`, and positions are handed on in full precision. */
export function decodeSourceWithFixes(fix: (fix: GpsFix) => void): typeof decodeSource {
  return (source, sources, emit) => decodeReading(source, readingOf(source, sources), emit, fix)
}

function decodeReading(
  source: number,
  reading: SourceReading,
  emit: BoardSink,
  fix?: (fix: GpsFix) => void,
): LineDecoder {
  if (reading.kind === 'mapped') return createLineMapReader(reading.map, { source, emit })
  if (reading.kind === 'board') return createBoardDecoder({ source, emit })
  return createGpsLineDecoder({ source, emit, fix })
}
