import type { LineCounts } from '../contract/samples.ts'
import { createBoardDecoder } from '../line/boardDecoder.ts'
import { type BoardSink, shiftSegments } from '../line/boardSink.ts'
import { addCounts, noLines } from '../line/lineCounts.ts'
import type { LineDecoder } from '../line/lineDecoder.ts'
import type { CaptureSink } from './captureSink.ts'
import type { ReadAs } from './readAs.ts'

/**
 * Chooses the decoder of a source when its first line comes; `sources` is that entry of the `start` record, empty before it came. Undefined: its
 * lines are not decoded.
 */
export type ChooseDecoder = (
  source: number,
  sources: readonly unknown[],
  emit: BoardSink,
) => LineDecoder | undefined

/** The board's format for source 0, none for others. */
export const boardOnly: ChooseDecoder = (source, _sources, emit) =>
  source === 0 ? createBoardDecoder({ source, emit }) : undefined

/** The decoders of a run's sources. Between sources the order of the file is kept: what one has gathered goes out before another takes a line. */
export class RunDecoders {
  readonly #emit: CaptureSink
  readonly #choose: ChooseDecoder
  readonly #decoders: (LineDecoder | 'none' | undefined)[] = []
  /** What the run says of its sources. */
  sources: readonly unknown[] = []
  /** Newest segment of each source, and counters of decoders that source 0 had before. */
  readonly #segments: number[] = []
  #countsBefore = noLines()

  constructor(emit: CaptureSink, choose: ChooseDecoder) {
    this.#emit = {
      ...emit,
      block: (block) => {
        this.#segments[block.source] = block.segment
        emit.block(block)
      },
    }
    this.#choose = choose
  }

  /** The board's decoder, when it can read its commonest line without being told where that ends. */
  get quick(): LineDecoder | undefined {
    const board = this.#decoders[0]
    return typeof board === 'object' && board.tryQuick !== undefined ? board : undefined
  }

  /** Turns to a source for its next line: what the others have gathered goes out. Undefined when its lines are not decoded. */
  turnTo(source: number): LineDecoder | undefined {
    const decoder = this.#decoders[source] ?? this.#add(source)
    if (decoder === 'none') {
      this.emitBlocks()
      return undefined
    }
    if (this.#decoders.length > 1) this.emitBlocks(decoder)
    return decoder
  }

  emitBlocks(except?: LineDecoder): void {
    for (const decoder of this.#decoders) {
      if (typeof decoder === 'object' && decoder !== except) decoder.emitBlock()
    }
  }

  /** From here on a source's lines mean something else: the next one chooses a decoder anew. */
  readAs(entry: ReadAs): void {
    const { source } = entry
    const others = this.sources.filter((each) => (each as { source?: unknown } | null)?.source !== source)
    this.sources = [...others, entry]
    const old = this.#decoders[source]
    if (typeof old === 'object') {
      old.flush()
      if (source === 0) this.#countsBefore = addCounts(this.#countsBefore, old.counts)
    }
    if (source < this.#decoders.length) this.#decoders[source] = undefined
  }

  /** End of the run. @returns counters of source 0's lines */
  flush(): LineCounts {
    for (const decoder of this.#decoders) if (typeof decoder === 'object') decoder.flush()
    const board = this.#decoders[0]
    return addCounts(this.#countsBefore, typeof board === 'object' ? board.counts : noLines())
  }

  #add(source: number): LineDecoder | 'none' {
    const before = this.#segments[source]
    const emit = before === undefined ? this.#emit : shiftSegments(this.#emit, before + 1)
    const chosen = this.#choose(source, this.sources, emit) ?? 'none'
    while (this.#decoders.length < source) this.#decoders.push(undefined)
    this.#decoders[source] = chosen
    return chosen
  }
}
