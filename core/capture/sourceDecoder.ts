import { createBoardDecoder, type LineDecoder } from '../line/boardDecoder.ts'
import type { BoardSink } from '../line/boardSink.ts'
import { lineMapSchema } from '../line/lineMap.ts'
import { createLineMapReader } from '../line/lineMapReader.ts'

interface SourceEntry {
  readonly source?: unknown
  readonly kind?: unknown
  readonly map?: unknown
}

/**
 * Chooses the decoder of a run's source (for `createCaptureScanner`'s `decoderOf`): the line map that its entry in the `start` record
 * carries as `map`, else the board's format for source 0 and for one of `kind` "board", else none. A damaged map counts as none.
 */
export function decodeSource(
  source: number,
  sources: readonly unknown[],
  emit: BoardSink,
): LineDecoder | undefined {
  const entry = sources.find((each) => (each as SourceEntry | null)?.source === source) as
    | SourceEntry
    | undefined
  const map = lineMapSchema.safeParse(entry?.map).data
  if (map) return createLineMapReader(map, { source, emit })
  return source === 0 || entry?.kind === 'board' ? createBoardDecoder({ source, emit }) : undefined
}
