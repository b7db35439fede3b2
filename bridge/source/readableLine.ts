/** Of bytes at the right speed nearly all are printable; at a wrong one about a third are. Chosen here. */
const printableShare = 0.95
/** Fewer bytes say nothing about the speed. */
const leastBytes = 20
/** Of another source's text so many characters are shown. */
const shownCharacters = 40

/** A line of printable text among what was heard; undefined when it is no text. */
export function readableLine(text: string): string | undefined {
  if (text.length < leastBytes) return undefined
  let printable = 0
  for (let i = 0; i < text.length; i++) {
    const code = text.charCodeAt(i)
    if ((code >= 0x20 && code < 0x7f) || code === 0x0a || code === 0x0d || code === 0x09) printable++
  }
  if (printable < printableShare * text.length) return undefined
  const lines = text.split(/[\r\n]+/)
  // The first and the last may be cut off.
  const line = (lines.length > 2 ? lines[1] : lines[0]).trim()
  let shown = ''
  for (const character of line) shown += character >= ' ' && character < '\x7f' ? character : '·'
  return shown.slice(0, shownCharacters)
}
