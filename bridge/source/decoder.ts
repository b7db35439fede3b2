import type { BoardEvent, BoardIdentity, LineCounts, SampleBlock } from '../../core/contract/samples.ts'

/** What turns the bytes of one source into blocks: the board's own format, a line map, a position receiver. */
export interface Decoder {
  push(bytes: Uint8Array, arrivalS: number): void
  flush(): void
  readonly counts: LineCounts
  /** Sample time minus the board's tick time, s; missing or NaN for sources without ticks. */
  readonly clockOffsetS?: number
}

export interface DecoderSink {
  block(block: SampleBlock): void
  event(event: BoardEvent): void
  identity(identity: BoardIdentity): void
}
