import type { SampleBlock } from './samples.ts'

/** First four bytes of a binary stream message, "FBLK" read as little-endian. */
const magic = 0x4b4c4246
const headerBytes = 32

/** A sample block as it crosses the stream: without channel declarations, which came in a `declaration` message. */
export interface StreamFrame {
  /** Number of the block since the bridge started, by which a page resumes. */
  readonly block: number
  readonly source: number
  readonly segment: number
  readonly count: number
  readonly timeS: Float64Array
  readonly columns: readonly Float32Array[]
}

/**
 * Packs a block for the stream: 32 bytes of header (magic, version, source, column count, sample count, segment, block number), then times as
 * Float64, then each column as Float32, little-endian.
 */
export function encodeStreamFrame(blockNumber: number, block: SampleBlock): Uint8Array {
  const { count, columns } = block
  const bytes = new Uint8Array(headerBytes + count * 8 + columns.length * count * 4)
  const view = new DataView(bytes.buffer)
  view.setUint32(0, magic, true)
  view.setUint16(4, 1, true)
  view.setUint16(6, block.source, true)
  view.setUint32(8, columns.length, true)
  view.setUint32(12, count, true)
  view.setUint32(16, block.segment, true)
  view.setFloat64(24, blockNumber, true)
  const times = new Float64Array(bytes.buffer, headerBytes, count)
  const values = new Float32Array(bytes.buffer, headerBytes + count * 8, columns.length * count)
  // Live blocks hold a few samples of many channels: a view for each column would cost more than its values.
  for (let i = 0; i < count; i++) times[i] = block.timeS[i]
  let at = 0
  for (let c = 0; c < columns.length; c++) {
    const column = columns[c]
    for (let i = 0; i < count; i++) values[at++] = column[i]
  }
  return bytes
}

/**
 * Reads a binary stream message; the columns are views into it where alignment allows.
 * @throws RangeError when it is no frame of this version or its length does not fit its header
 */
export function decodeStreamFrame(message: ArrayBuffer): StreamFrame {
  const view = new DataView(message)
  if (
    message.byteLength < headerBytes ||
    view.getUint32(0, true) !== magic ||
    view.getUint16(4, true) !== 1
  ) {
    throw new RangeError(`not a sample block: ${message.byteLength} bytes`)
  }
  const columnCount = view.getUint32(8, true)
  const count = view.getUint32(12, true)
  const expected = headerBytes + count * 8 + columnCount * count * 4
  if (message.byteLength !== expected) {
    throw new RangeError(`sample block of ${message.byteLength} bytes, its header says ${expected}`)
  }
  const columns: Float32Array[] = []
  for (let i = 0; i < columnCount; i++) {
    columns.push(new Float32Array(message, headerBytes + count * 8 + i * count * 4, count))
  }
  return {
    block: view.getFloat64(24, true),
    source: view.getUint16(6, true),
    segment: view.getUint32(16, true),
    count,
    timeS: new Float64Array(message, headerBytes, count),
    columns,
  }
}
