import type { ChannelDeclaration, SampleBlock } from '../contract/samples.ts'

/** All samples of one segment of one source, as whole columns of equal length; NaN is no reading. */
export interface CaptureSegment {
  readonly source: number
  readonly segment: number
  readonly channels: readonly ChannelDeclaration[]
  /** Seconds on the capture's clock, ascending. */
  readonly timeS: Float64Array
  /** In column order, in the declared units. */
  readonly columns: readonly Float32Array[]
}

const firstCapacity = 1024

/** Gathers blocks of one segment in arrays that double, so that memory stays in proportion. */
export class GrowingColumns {
  readonly source: number
  readonly segment: number
  readonly #channels: readonly ChannelDeclaration[]
  #capacity = firstCapacity
  #count = 0
  #timeS = new Float64Array(firstCapacity)
  #columns: Float32Array[]

  constructor({ source, segment, channels }: SampleBlock) {
    this.source = source
    this.segment = segment
    this.#channels = channels
    this.#columns = channels.map(() => new Float32Array(firstCapacity))
  }

  append({ count, timeS, columns }: SampleBlock): void {
    const needed = this.#count + count
    if (needed > this.#capacity) this.#grow(needed)
    this.#timeS.set(timeS.subarray(0, count), this.#count)
    for (let i = 0; i < this.#columns.length; i++) {
      this.#columns[i].set(columns[i].subarray(0, count), this.#count)
    }
    this.#count = needed
  }

  /** Views of what was gathered. */
  view(): CaptureSegment {
    return {
      source: this.source,
      segment: this.segment,
      channels: this.#channels,
      timeS: this.#timeS.subarray(0, this.#count),
      columns: this.#columns.map((column) => column.subarray(0, this.#count)),
    }
  }

  #grow(needed: number): void {
    while (this.#capacity < needed) this.#capacity *= 2
    const timeS = new Float64Array(this.#capacity)
    timeS.set(this.#timeS.subarray(0, this.#count))
    this.#timeS = timeS
    this.#columns = this.#columns.map((column) => {
      const larger = new Float32Array(this.#capacity)
      larger.set(column.subarray(0, this.#count))
      return larger
    })
  }
}
