import { maxLineBytes } from './boardLine.ts'

/** Longest piece handed on: a full line and its CR. */
export const maxPieceBytes = maxLineBytes + 1

export interface LineSplitterOptions {
  /** Longest piece handed on, bytes; by default that of a full line of the board and its CR. */
  longestPieceBytes?: number
  /**
   * Called for each line `bytes[start, end)` without its LF (a CR is still there); valid during the call only.
   * `arrivalS` is that of the push which brought its LF.
   */
  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void
  /**
   * Tried first where a line's bytes are all at hand: takes the line at `start` if it can and returns where the next one starts, else −1.
   * For decoders that need not search for the LF first.
   */
  quick?(bytes: Uint8Array, start: number, arrivalS: number): number
}

export interface LineSplitter {
  push(bytes: Uint8Array, arrivalS: number): void
  /** Hands on what has no LF yet, e.g. since the port is gone. */
  flush(arrivalS: number): void
}

/**
 * Cuts a stream of bytes into lines, in bounded memory: what runs on without an LF (wrong baud rate) is handed on in pieces of the longest size, so
 * that nothing received is lost. The pieces do not depend on how the bytes are cut into pushes.
 */
export function createLineSplitter({
  line,
  quick,
  longestPieceBytes = maxPieceBytes,
}: LineSplitterOptions): LineSplitter {
  const carry = new Uint8Array(longestPieceBytes)
  let carried = 0

  function push(bytes: Uint8Array, arrivalS: number): void {
    let start = 0
    while (start < bytes.length) {
      if (quick !== undefined && carried === 0 && bytes.length - start > longestPieceBytes) {
        const next = quick(bytes, start, arrivalS)
        if (next > 0) {
          start = next
          continue
        }
      }
      const lf = bytes.indexOf(0x0a, start)
      const end = lf < 0 ? bytes.length : lf
      start = cut(bytes, start, end, arrivalS)
      if (lf < 0) {
        carry.set(bytes.subarray(start, end), carried)
        carried += end - start
        return
      }
      if (carried > 0) {
        carry.set(bytes.subarray(start, end), carried)
        line(carry, 0, carried + end - start, arrivalS)
        carried = 0
      } else line(bytes, start, end, arrivalS)
      start = lf + 1
    }
  }

  /** Hands on full pieces while more than one piece's worth is at hand; returns where the rest starts. */
  function cut(bytes: Uint8Array, start: number, end: number, arrivalS: number): number {
    let from = start
    while (carried + end - from > longestPieceBytes) {
      if (carried > 0) {
        const taken = longestPieceBytes - carried
        carry.set(bytes.subarray(from, from + taken), carried)
        carried = 0
        from += taken
        line(carry, 0, longestPieceBytes, arrivalS)
      } else {
        line(bytes, from, from + longestPieceBytes, arrivalS)
        from += longestPieceBytes
      }
    }
    return from
  }

  function flush(arrivalS: number): void {
    if (carried === 0) return
    const length = carried
    carried = 0
    line(carry, 0, length, arrivalS)
  }

  return { push, flush }
}
