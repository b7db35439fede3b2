import type { ChannelDeclaration } from '../contract/samples.ts'
import { maxRowLength, rowHeadLength } from './parseSample.ts'

/** Most samples of a block. */
export const maxBlockSamples = 1024
/** Rows of 16 channels that take some 20 kB. */
const tileRows = 128

/** Samples of one layout as they were sent, row after row, until they become the columns of a block. */
export class SampleRows {
  /** Rows as `parseSampleInto` writes them; the one at `nextAt`, behind the last that was kept, is where a line is read into. */
  values = new Float64Array(maxRowLength)
  nextAt = 0
  /** Rows kept. */
  count = 0
  readonly timeS = new Float64Array(maxBlockSamples)
  channels: readonly ChannelDeclaration[] = []
  columns: Float32Array[] = []
  #rowLength = 0
  /** Values of the shortest sample kept. */
  #leastValues = maxRowLength

  /** The row at `nextAt`, for later. */
  copyNext(): Float64Array {
    return this.values.slice(this.nextAt, this.nextAt + rowHeadLength + this.values[this.nextAt])
  }

  /** Begins another layout with a row that is not yet kept. Call when none is kept. */
  layOut(channels: readonly ChannelDeclaration[], row: Float64Array): void {
    this.channels = channels
    this.columns = channels.map(() => new Float32Array(maxBlockSamples))
    this.#rowLength = rowHeadLength + (channels.at(-1)?.index ?? -1) + 1
    this.values = new Float64Array(maxBlockSamples * this.#rowLength + maxRowLength)
    this.nextAt = 0
    this.values.set(row)
  }

  /** Keeps the row at `nextAt`, whose time stands in `timeS` already. */
  keep(): void {
    const valueCount = this.values[this.nextAt]
    if (valueCount < this.#leastValues) this.#leastValues = valueCount
    this.count++
    this.nextAt += this.#rowLength
  }

  /** Rows of integers to `columns` in the declared units; none is kept afterwards. @returns how many there were */
  toColumns(): number {
    const { count } = this
    this.count = 0
    this.nextAt = 0
    // Column after column, over as many rows at a time as stay in the nearest cache.
    for (let from = 0; from < count; from += tileRows) {
      const to = Math.min(count, from + tileRows)
      for (let i = 0; i < this.columns.length; i++) this.#scaleColumn(i, from, to)
    }
    this.#leastValues = maxRowLength
    return count
  }

  #scaleColumn(at: number, from: number, to: number): void {
    const rows = this.values
    const rowLength = this.#rowLength
    const column = this.columns[at]
    const { index, scale, offset } = this.channels[at]
    const valueAt = rowHeadLength + index
    let rowAt = from * rowLength
    if (index < this.#leastValues) {
      for (let row = from; row < to; row++) {
        column[row] = rows[rowAt + valueAt] * scale + offset
        rowAt += rowLength
      }
      return
    }
    for (let row = from; row < to; row++) {
      column[row] = index < rows[rowAt] ? rows[rowAt + valueAt] * scale + offset : Number.NaN
      rowAt += rowLength
    }
  }
}
