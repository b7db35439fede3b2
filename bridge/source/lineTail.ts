import { escapeBytes } from '../../core/capture/escape.ts'
import type { RawLine } from '../../core/contract/api.ts'

/** Lines kept of each source: enough to see columns in, little enough to hold for ever. */
export const keptLines = 200
/** Longest line kept whole, bytes. */
const longestKeptBytes = 400

/** The newest raw lines of each source, for the page on which an owner says what they mean. Bounded whatever comes. */
export class LineTail {
  readonly #lines = new Map<number, RawLine[]>()
  #number = 0

  /** Takes a line as it came; the bytes are copied. */
  push(source: number, line: Uint8Array, timeS: number): void {
    let kept = this.#lines.get(source)
    if (!kept) {
      kept = []
      this.#lines.set(source, kept)
    }
    const end = line.at(-1) === 0x0d ? line.length - 1 : line.length
    kept.push({
      number: ++this.#number,
      source,
      timeS,
      text: escapeBytes(line.subarray(0, Math.min(end, longestKeptBytes))),
    })
    // Twice the bound before it is cut, so that the cut does not come with every line.
    if (kept.length > 2 * keptLines) kept.splice(0, kept.length - keptLines)
  }

  /** Lines of a source that came after number `after`, oldest first, at most `keptLines`. */
  after(source: number, after: number): RawLine[] {
    return (this.#lines.get(source) ?? []).slice(-keptLines).filter(({ number }) => number > after)
  }
}
