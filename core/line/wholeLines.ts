const lineFeed = 0x0a

export interface WholeLinesOptions {
  /** A line that is longer is told by its beginning and passed over up to its end, bytes. */
  longestBytes: number
  /** A line `bytes[start, end)` without its LF, valid during the call only. */
  line(bytes: Uint8Array, start: number, end: number, arrivalS: number): void
  overlong(bytes: Uint8Array, start: number, end: number): void
}

export interface WholeLines {
  push(bytes: Uint8Array, arrivalS: number): void
  /** The end: a last line without an LF is handed on. */
  flush(): void
}

/** Puts lines together from bytes that come cut anywhere, in bounded memory; an over-long line is handed on as one and never in pieces that might be read. */
export function createWholeLines({ longestBytes, line, overlong }: WholeLinesOptions): WholeLines {
  const carry = new Uint8Array(longestBytes)
  let carried = 0
  let isOverlong = false
  let lastArrivalS = 0

  function keep(bytes: Uint8Array, start: number, end: number): void {
    const room = longestBytes - carried
    if (end - start > room) isOverlong = true
    const kept = Math.min(end - start, room)
    carry.set(bytes.subarray(start, start + kept), carried)
    carried += kept
  }

  function endKept(arrivalS: number): void {
    const length = carried
    const wasOverlong = isOverlong
    carried = 0
    isOverlong = false
    if (wasOverlong) overlong(carry, 0, length)
    else line(carry, 0, length, arrivalS)
  }

  function take(bytes: Uint8Array, start: number, end: number, arrivalS: number): void {
    if (end - start > longestBytes) overlong(bytes, start, start + longestBytes)
    else line(bytes, start, end, arrivalS)
  }

  return {
    push(bytes, arrivalS) {
      lastArrivalS = arrivalS
      let start = 0
      while (start < bytes.length) {
        const found = bytes.indexOf(lineFeed, start)
        const end = found < 0 ? bytes.length : found
        if (found >= 0 && carried === 0) take(bytes, start, end, arrivalS)
        else {
          keep(bytes, start, end)
          if (found >= 0) endKept(arrivalS)
        }
        start = end + 1
      }
    },
    flush() {
      if (carried > 0) endKept(lastArrivalS)
    },
  }
}
