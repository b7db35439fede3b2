/** Kinds of a capture's lines as numbers: the byte that begins them. */
export const fromSource = 0x3c
export const toSource = 0x3e
export const jsonRecord = 0x3d
export const bridgeNotice = 0x21

/** Where the parts of one capture line are; reused for every line. */
export interface CaptureLineParts {
  timeS: number
  kind: number
  source: number
  /** First byte of the payload. */
  payloadAt: number
}

/** As doubles, so that the engine never takes a product with them for a 32 bit integer and has to compile anew when one is larger. */
const powersOfTen = Float64Array.of(1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9)
const maxWholeDigits = 10
const maxFractionDigits = 9
const maxSourceDigits = 3
const space = 0x20

/**
 * Reads `<t> <kind> ` at `bytes[start, end)` by hand. False when the line is none of the format.
 * Reading one byte past `end` must be possible (it is the LF).
 */
export function parseCaptureLine(
  bytes: Uint8Array,
  start: number,
  end: number,
  parts: CaptureLineParts,
): boolean {
  let i = start
  const negative = bytes[i] === 0x2d
  if (negative) i++
  const wholeAt = i
  let whole = 0
  let byte = bytes[i]
  while (byte >= 0x30 && byte <= 0x39) {
    whole = whole * 10 + (byte - 0x30)
    byte = bytes[++i]
  }
  if (i === wholeAt || i - wholeAt > maxWholeDigits) return false
  let fraction = 0
  let digits = 0
  if (byte === 0x2e) {
    byte = bytes[++i]
    const fractionAt = i
    while (byte >= 0x30 && byte <= 0x39) {
      fraction = fraction * 10 + (byte - 0x30)
      byte = bytes[++i]
    }
    digits = i - fractionAt
    if (digits > maxFractionDigits) return false
  }
  if (byte !== space) return false
  // One division of two whole numbers gives the nearest double to the written decimal, as the language's own reading does.
  const scale = powersOfTen[digits]
  const timeS = (whole * scale + fraction) / scale
  parts.timeS = negative ? -timeS : timeS
  parts.kind = bytes[i + 1]
  i += 2
  if (parts.kind === fromSource || parts.kind === toSource) {
    const sourceAt = i
    let source = 0
    byte = bytes[i]
    while (byte >= 0x30 && byte <= 0x39) {
      source = source * 10 + (byte - 0x30)
      byte = bytes[++i]
    }
    if (i === sourceAt || i - sourceAt > maxSourceDigits) return false
    parts.source = source
  } else if (parts.kind !== jsonRecord && parts.kind !== bridgeNotice) return false
  if (i === end) {
    // An empty line of a source may have lost its trailing space to an editor.
    parts.payloadAt = end
    return true
  }
  parts.payloadAt = i + 1
  return i < end && bytes[i] === space
}
