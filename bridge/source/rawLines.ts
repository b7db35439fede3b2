import { createLineSplitter, type LineSplitter } from '../../core/line/lineSplitter.ts'

/** A line is cut here even without an end: at a wrong baud rate none may come for minutes. Twice the format's 250 bytes, rounded up. */
export const longestRawLineBytes = 512

/**
 * Cuts a byte stream into lines for the recorder, byte for byte (a CR stays, the LF goes). Any cutting of the input into chunks gives
 * the same lines; a line longer than the bound is handed on in pieces, nothing is dropped.
 * @param emit gets a view that is valid during the call only, and the arrival of the chunk that ended the line
 */
export function createRawLines(emit: (line: Uint8Array, arrivalS: number) => void): LineSplitter {
  return createLineSplitter({
    longestPieceBytes: longestRawLineBytes,
    line: (bytes, start, end, arrivalS) => emit(bytes.subarray(start, end), arrivalS),
  })
}
