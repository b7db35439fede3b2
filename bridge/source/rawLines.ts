/** A line is cut here even without an end: at a wrong baud rate none may come for minutes. Twice the format's 250 bytes, rounded up. */
export const longestRawLineBytes = 512

const lineFeed = 10

/**
 * Cuts a byte stream into lines for the recorder, byte for byte (a CR stays, the LF goes). Any cutting of the input into chunks gives
 * the same lines; a line longer than the bound is handed on in pieces, nothing is dropped.
 * @param emit gets a view that is valid during the call only, and the arrival of the chunk that ended the line
 */
export function createRawLines(emit: (line: Uint8Array, arrivalS: number) => void): {
  push(chunk: Uint8Array, arrivalS: number): void
  /** Hands on what is held of an unfinished line. */
  flush(arrivalS: number): void
} {
  const held = new Uint8Array(longestRawLineBytes)
  let heldBytes = 0
  const flush = (arrivalS: number) => {
    if (heldBytes === 0) return
    const bytes = heldBytes
    heldBytes = 0
    emit(held.subarray(0, bytes), arrivalS)
  }
  return {
    flush,
    push(chunk, arrivalS) {
      let start = 0
      while (start < chunk.length) {
        const found = chunk.indexOf(lineFeed, start)
        const end = found < 0 ? chunk.length : found
        while (heldBytes + end - start > longestRawLineBytes) {
          const room = longestRawLineBytes - heldBytes
          held.set(chunk.subarray(start, start + room), heldBytes)
          heldBytes = longestRawLineBytes
          start += room
          flush(arrivalS)
        }
        if (found < 0) {
          held.set(chunk.subarray(start, end), heldBytes)
          heldBytes += end - start
          return
        }
        if (heldBytes === 0) {
          emit(chunk.subarray(start, end), arrivalS)
        } else {
          held.set(chunk.subarray(start, end), heldBytes)
          heldBytes += end - start
          flush(arrivalS)
        }
        start = found + 1
      }
    },
  }
}
