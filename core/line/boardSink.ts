import type { BoardEvent, BoardIdentity, SampleBlock } from '../contract/samples.ts'

/** Answer of a board to a command (line `A`). */
export interface BoardAnswer {
  readonly source: number
  readonly timeS: number
  readonly command: string
  readonly ok: boolean
  readonly text: string
}

/**
 * Takes what a board says, in the order in which it said it.
 * A block is valid during the call only: its arrays are used again.
 */
export interface BoardSink {
  block(block: SampleBlock): void
  event?(event: BoardEvent): void
  /** Only when it differs from the last one. */
  identity?(identity: BoardIdentity): void
  answer?(answer: BoardAnswer): void
}

/** A sink whose blocks have `by` added to their segment: for a decoder that takes over from another in the middle of a source. */
export function shiftSegments(emit: BoardSink, by: number): BoardSink {
  return { ...emit, block: (block) => emit.block({ ...block, segment: block.segment + by }) }
}
