const replacement = 0xfffd

/** Appends the UTF-8 bytes of `text` to `out`; a lone surrogate becomes U+FFFD. */
export function pushUtf8(out: number[], text: string): void {
  for (const character of text) {
    let code = character.codePointAt(0)!
    if (code >= 0xd800 && code <= 0xdfff) code = replacement
    if (code < 0x80) out.push(code)
    else if (code < 0x800) out.push(0xc0 | (code >> 6), 0x80 | (code & 0x3f))
    else if (code < 0x10000) out.push(0xe0 | (code >> 12), 0x80 | ((code >> 6) & 0x3f), 0x80 | (code & 0x3f))
    else {
      out.push(
        0xf0 | (code >> 18),
        0x80 | ((code >> 12) & 0x3f),
        0x80 | ((code >> 6) & 0x3f),
        0x80 | (code & 0x3f),
      )
    }
  }
}

/** UTF-8 bytes of a text; a lone surrogate becomes U+FFFD. */
export function utf8Bytes(text: string): Uint8Array {
  const out: number[] = []
  pushUtf8(out, text)
  return Uint8Array.from(out)
}

/**
 * Text of UTF-8 bytes `[start, end)`. A byte that belongs to no valid sequence becomes U+FFFD, so nothing throws.
 * Written here since the language itself has no decoder and `core` uses neither Node nor the browser.
 */
export function utf8Text(bytes: ArrayLike<number>, start = 0, end = bytes.length): string {
  let text = ''
  let i = start
  while (i < end) {
    const lead = bytes[i]
    const length = lead < 0x80 ? 1 : lead < 0xc2 ? 0 : lead < 0xe0 ? 2 : lead < 0xf0 ? 3 : lead < 0xf5 ? 4 : 0
    const code = length === 0 || i + length > end ? -1 : sequenceCode(bytes, i, length)
    if (code < 0) {
      text += '\ufffd'
      i++
    } else {
      text += String.fromCodePoint(code)
      i += length
    }
  }
  return text
}

/** Code point of the sequence of `length` bytes at `at`, −1 when a following byte is wrong, the form over-long or a surrogate. */
function sequenceCode(bytes: ArrayLike<number>, at: number, length: number): number {
  if (length === 1) return bytes[at]
  let code = bytes[at] & (0xff >> (length + 1))
  for (let i = 1; i < length; i++) {
    const next = bytes[at + i]
    if ((next & 0xc0) !== 0x80) return -1
    code = (code << 6) | (next & 0x3f)
  }
  const least = length === 2 ? 0x80 : length === 3 ? 0x800 : 0x10000
  if (code < least || code > 0x10ffff || (code >= 0xd800 && code <= 0xdfff)) return -1
  return code
}
