import type { TimedNotice, TimedRecord } from '../contract/records.ts'
import type { BoardEvent, BoardIdentity } from '../contract/samples.ts'
import type { BoardAnswer } from '../line/boardSink.ts'
import { showValue } from '../numeric/checkKind.ts'
import { type CaptureEnd, type CaptureScannerOptions, createCaptureScanner } from './captureScanner.ts'
import { type CaptureSegment, GrowingColumns } from './growingColumns.ts'

/** A line of a source without decoder, or one sent to a source; characters are bytes. */
export interface CapturedLine {
  readonly source: number
  readonly timeS: number
  readonly text: string
}

/** A whole capture. */
export interface ScannedCapture extends CaptureEnd {
  readonly records: TimedRecord[]
  readonly notices: TimedNotice[]
  readonly events: BoardEvent[]
  readonly answers: BoardAnswer[]
  /** Each board or program that was heard, in order; the last is the latest. */
  readonly identities: BoardIdentity[]
  /** Samples by source and segment, in the order in which each began. */
  readonly segments: CaptureSegment[]
  /** Lines of sources that have no decoder here. */
  readonly lines: CapturedLine[]
  /** Lines sent to a source. */
  readonly sent: CapturedLine[]
}

/**
 * Reads a whole capture, unpacked, from its bytes. Memory is in proportion to what it holds.
 * @param options a decoder for further sources, see `CaptureScannerOptions`
 * @throws CaptureError when it is no capture that can be read
 * @throws RangeError when it is given no bytes
 */
export function scanCapture(
  bytes: Uint8Array,
  options: Pick<CaptureScannerOptions, 'decoderOf'> = {},
): ScannedCapture {
  if (!(bytes instanceof Uint8Array)) {
    throw new RangeError(`invalid bytes: ${showValue(bytes)} (expected a Uint8Array)`)
  }
  const records: TimedRecord[] = []
  const notices: TimedNotice[] = []
  const events: BoardEvent[] = []
  const answers: BoardAnswer[] = []
  const identities: BoardIdentity[] = []
  const lines: CapturedLine[] = []
  const sent: CapturedLine[] = []
  const gathered: GrowingColumns[] = []
  const scanner = createCaptureScanner({
    ...options,
    emit: {
      block(block) {
        let columns = gathered.findLast(({ source }) => source === block.source)
        if (columns?.segment !== block.segment) {
          columns = new GrowingColumns(block)
          gathered.push(columns)
        }
        columns.append(block)
      },
      event: (event) => events.push(event),
      answer: (answer) => answers.push(answer),
      identity: (identity) => identities.push(identity),
      record: (record) => records.push(record),
      notice: (notice) => notices.push(notice),
      line: (source, timeS, text) => lines.push({ source, timeS, text }),
      sent: (source, timeS, text) => sent.push({ source, timeS, text }),
    },
  })
  scanner.push(bytes)
  const end = scanner.end()
  const segments = gathered.map((columns) => columns.view())
  return { ...end, records, notices, events, answers, identities, segments, lines, sent }
}
