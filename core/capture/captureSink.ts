import type { TimedNotice, TimedRecord } from '../contract/records.ts'
import type { BoardSink } from '../line/boardSink.ts'

/** Takes what a capture holds, in the order of the file; samples come in blocks that are never carried past another item. */
export interface CaptureSink extends BoardSink {
  /** A record that fits its schema, or one of an unknown type, as it is. */
  record?(record: TimedRecord): void
  notice?(notice: TimedNotice): void
  /** A line of a source that has no decoder, e.g. a position receiver's; characters are bytes. */
  line?(source: number, timeS: number, text: string): void
  /** A line that was sent to a source. */
  sent?(source: number, timeS: number, text: string): void
}
