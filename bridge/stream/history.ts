/** One message of the stream as it was sent to everyone, kept so that a late page can be told the same. */
export interface StreamItem {
  readonly timeS: number
  /** A sample block's bytes, or a JSON text. */
  readonly message: Uint8Array | string
  /** Block number, or −1 for a text. */
  readonly block: number
  readonly samples: number
  readonly source: number
  readonly segment: number
}

export interface HistoryOptions {
  /** How long messages are kept, s. Default 60, as the stream promises. */
  seconds?: number
  /** Most bytes kept. Default 32 MB: 60 s of 16 channels at 4 kHz. */
  bytes?: number
}

export const defaultHistory = Object.freeze({ seconds: 60, bytes: 32_000_000 })

const sizeOf = (item: StreamItem) => item.message.length + 64

/** The last 60 s of the stream, bounded in bytes. Positions rise by one with each item, for ever. */
export class History {
  readonly #seconds: number
  readonly #mostBytes: number
  #items: StreamItem[] = []
  /** Index in `#items` of the oldest one that is kept. */
  #head = 0
  /** Position of `#items[0]`. */
  #base = 0
  #bytes = 0
  /** Blocks and samples that are no longer kept. */
  #gone = { blocks: 0, samples: 0 }

  constructor(options: HistoryOptions = {}) {
    const { seconds, bytes } = { ...defaultHistory, ...options }
    this.#seconds = seconds
    this.#mostBytes = bytes
  }

  /** Position of the oldest item kept. */
  get start(): number {
    return this.#base + this.#head
  }

  /** Position after the newest item. */
  get end(): number {
    return this.#base + this.#items.length
  }

  get bytes(): number {
    return this.#bytes
  }

  add(item: StreamItem): void {
    this.#items.push(item)
    this.#bytes += sizeOf(item)
    this.#trim(item.timeS)
  }

  /** Blocks and samples before the oldest item kept, since the bridge started. */
  get gone(): { readonly blocks: number; readonly samples: number } {
    return this.#gone
  }

  /** The item at a position in `[start, end)`. */
  at(position: number): StreamItem {
    return this.#items[position - this.#base]
  }

  /** Position after the block with this number, or undefined when the number was never given or its successor is gone. */
  afterBlock(block: number): number | undefined {
    let low = this.#head
    let high = this.#items.length
    // Texts lie between blocks: the search takes the newest block at or before the middle.
    let oldest = Number.NaN
    for (let i = low; i < high; i++) {
      if (this.#items[i].block >= 0) {
        oldest = this.#items[i].block
        break
      }
    }
    if (!(block >= oldest - 1)) return undefined
    while (low < high) {
      const middle = (low + high) >>> 1
      let probe = middle
      while (probe >= this.#head && this.#items[probe].block < 0) probe--
      if (probe < this.#head || this.#items[probe].block <= block) low = middle + 1
      else high = middle
    }
    return this.#base + low
  }

  #trim(nowS: number): void {
    while (
      this.#head < this.#items.length - 1 &&
      (this.#items[this.#head].timeS < nowS - this.#seconds || this.#bytes > this.#mostBytes)
    ) {
      const item = this.#items[this.#head++]
      this.#bytes -= sizeOf(item)
      if (item.block < 0) continue
      this.#gone.blocks++
      this.#gone.samples += item.samples
    }
    if (this.#head > 1024 && this.#head * 2 > this.#items.length) {
      this.#items = this.#items.slice(this.#head)
      this.#base += this.#head
      this.#head = 0
    }
  }
}
