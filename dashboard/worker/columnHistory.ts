/**
 * Bounded history of one time base with named columns. Samples lie in one buffer that is compacted when full, never wrapped: a stretch is
 * always one contiguous view.
 */
export class ColumnHistory {
  readonly #mostKept: number
  #timeS: Float64Array
  #columns = new Map<string, Float32Array>()
  #count = 0

  /** `mostKept`: samples that are always kept; the buffer grows to twice that. */
  constructor(mostKept: number) {
    this.#mostKept = mostKept
    this.#timeS = new Float64Array(4096)
  }

  get count(): number {
    return this.#count
  }

  get timeS(): Float64Array {
    return this.#timeS
  }

  get names(): string[] {
    return [...this.#columns.keys()]
  }

  column(name: string): Float32Array | undefined {
    return this.#columns.get(name)
  }

  /** Room for `more` samples; returns the index of the first. All columns there are NaN until they are written. */
  append(more: number): number {
    if (this.#count + more > this.#timeS.length) this.#makeRoom(more)
    const start = this.#count
    this.#count += more
    for (const column of this.#columns.values()) column.fill(Number.NaN, start, this.#count)
    return start
  }

  /** The column of that name, made if it is new; what came before it is NaN. */
  ensure(name: string): Float32Array {
    let column = this.#columns.get(name)
    if (!column) {
      column = new Float32Array(this.#timeS.length).fill(Number.NaN, 0, this.#count)
      this.#columns.set(name, column)
    }
    return column
  }

  /** Index of the first sample at or after a time. */
  indexAt(timeS: number): number {
    let low = 0
    let high = this.#count
    while (low < high) {
      const middle = (low + high) >>> 1
      if (this.#timeS[middle] < timeS) low = middle + 1
      else high = middle
    }
    return low
  }

  #makeRoom(more: number): void {
    const bound = 2 * this.#mostKept
    if (this.#count + more <= bound || this.#count <= this.#mostKept) {
      const size = Math.max(this.#count + more, Math.min(bound, this.#timeS.length * 2))
      this.#timeS = longer(this.#timeS, size, Float64Array)
      for (const [name, column] of this.#columns) this.#columns.set(name, longer(column, size, Float32Array))
      return
    }
    const from = this.#count - this.#mostKept
    this.#timeS.copyWithin(0, from, this.#count)
    for (const column of this.#columns.values()) column.copyWithin(0, from, this.#count)
    this.#count = this.#mostKept
    if (this.#count + more > this.#timeS.length) this.#makeRoom(more)
  }
}

function longer<T extends Float64Array | Float32Array>(from: T, size: number, make: new (n: number) => T): T {
  const array = new make(size)
  array.set(from)
  return array
}
