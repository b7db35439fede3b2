import type { LineCounts } from '../contract/samples.ts'

/** A decoder of one source's lines: what `createCaptureScanner` feeds and the bridge uses live. */
export interface LineDecoder {
  /** One line `bytes[start, end)` without its LF. */
  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void
  /**
   * For speed, a decoder may read its commonest line at `start` without being told where it ends: it returns the position of the line's end, −1 when
   * it is no such line. Nothing is taken until `takeQuick`, which must follow only when the line does end there.
   */
  tryQuick?(bytes: Uint8Array, start: number): number
  takeQuick?(arrivalS: number): void
  /** Hands the samples gathered so far to the sink. */
  emitBlock(): void
  /** End of the input: what waits is decoded as well as it can be, a line without an end is counted. */
  flush(): void
  readonly counts: LineCounts
}
