import { utf8Bytes } from '../line/utf8.ts'
import { CaptureError } from './captureError.ts'
import { captureHeader } from './formatCapture.ts'
import { isPacked } from './packed.ts'

const version = 1
const word = utf8Bytes('floatbowl-capture ')
const header = utf8Bytes(captureHeader)
/** No header of any version is longer. */
export const maxHeaderBytes = 64

/** What some editors set before the text of a file that they save: the byte order mark of UTF-8. */
const byteOrderMark = [0xef, 0xbb, 0xbf]

/** The bytes without a byte order mark, or without what has come of one. */
function afterMark(bytes: Uint8Array): Uint8Array {
  const length = Math.min(bytes.length, byteOrderMark.length)
  for (let i = 0; i < length; i++) if (bytes[i] !== byteOrderMark[i]) return bytes
  return bytes.subarray(length)
}

/** True when the bytes can be the beginning of a capture's first line. */
export function canBeHeader(begun: Uint8Array): boolean {
  const bytes = afterMark(begun)
  const length = Math.min(bytes.length, word.length)
  for (let i = 0; i < length; i++) if (bytes[i] !== word[i]) return false
  return bytes.length <= maxHeaderBytes
}

/** True when the bytes are a beginning of this version's header. */
export function isTornHeader(begun: Uint8Array): boolean {
  const bytes = afterMark(begun)
  return bytes.length <= header.length && bytes.every((byte, i) => byte === header[i])
}

/** @throws CaptureError unless the line is the header of a version that can be read */
export function checkHeader(line: Uint8Array): void {
  let text = ''
  for (const byte of afterMark(line).subarray(0, maxHeaderBytes)) text += String.fromCharCode(byte)
  const match = /^floatbowl-capture (\d{1,6})\r?$/.exec(text)
  if (match === null) throw notACapture(line)
  const found = Number(match[1])
  if (found > version) {
    throw new CaptureError(
      'newer_version',
      `capture of version ${found}, this program reads version ${version}: update floatbowl and open it again`,
    )
  }
  if (found < 1) throw notACapture(line)
}

export function emptyFile(): CaptureError {
  return new CaptureError('empty', 'the file is empty: nothing was recorded into it, it can be deleted')
}

export function notACapture(bytes: Uint8Array): CaptureError {
  if (isPacked(bytes)) {
    return new CaptureError('not_a_capture', 'the bytes are packed with gzip: unpack them first')
  }
  let start = ''
  for (const byte of bytes.subarray(0, 24))
    start += byte >= 0x20 && byte < 0x7f ? String.fromCharCode(byte) : '.'
  return new CaptureError(
    'not_a_capture',
    `not a capture: it starts with "${start}" (expected "${captureHeader}"); a log of another source is read with "floatbowl import"`,
  )
}
