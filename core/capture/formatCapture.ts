import type { CaptureRecord } from '../contract/records.ts'
import { utf8Bytes } from '../line/utf8.ts'
import { escapeBytes } from './escape.ts'

/** First line of a capture file, without its LF. */
export const captureHeader = 'floatbowl-capture 1'

/** Longest time that keeps its microseconds in a double: about 31 years. */
export const maxTimeS = 1e9

/** `<n` a line from source n, `>n` a line sent to it, `=` a JSON record, `!` a notice of the bridge as JSON. */
export type CaptureKind = `<${number}` | `>${number}` | '=' | '!'

/**
 * One line of a capture file, LF included.
 * @param timeS seconds since the capture's start; may be negative
 * @param payload a line's bytes exactly as they came, without LF; or for `=` and `!` the object, written as JSON
 * @throws RangeError when the time is not finite or beyond the format, or the kind unknown
 */
export function formatCaptureLine(
  timeS: number,
  kind: CaptureKind,
  payload: Uint8Array | string | CaptureRecord | Readonly<Record<string, unknown>>,
): string {
  if (!(Math.abs(timeS) <= maxTimeS))
    throw new RangeError(`invalid timeS: ${timeS} (expected within ±${maxTimeS})`)
  if (!/^(?:[<>]\d{1,3}|[=!])$/.test(kind))
    throw new RangeError(`invalid kind: ${kind} (expected <n, >n, = or !)`)
  return `${timeS.toFixed(6)} ${kind} ${escapeBytes(payloadBytes(payload))}\n`
}

function payloadBytes(payload: Uint8Array | string | object): Uint8Array {
  if (payload instanceof Uint8Array) return payload
  return utf8Bytes(typeof payload === 'string' ? payload : JSON.stringify(payload))
}
