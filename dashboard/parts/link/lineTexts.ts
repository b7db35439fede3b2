import { createLineFieldReader, splitFields, stripLineChecksum } from '../../../core/line/lineFields.ts'
import type { LineMap } from '../../../core/line/lineMap.ts'
import { checkLinePattern } from '../../../core/line/linePattern.ts'
import type { LineShape } from './guessLines.ts'

/** The texts of one line's columns; none for a comment, an empty line, or one whose checksum or pattern does not fit. */
export function lineTexts(
  whole: string,
  { by, divider, pattern, decimal, names, comments }: LineShape,
  checksum: LineMap['checksum'],
): string[] {
  if (whole.trim() === '' || comments.some((mark) => whole.startsWith(mark))) return []
  const line = checksum ? (stripLineChecksum(whole, checksum) ?? '') : whole
  if (line === '') return []
  if (by === 'divider') return splitFields(line, divider)
  if (by === 'pattern' && (pattern === '' || checkLinePattern(pattern) !== undefined)) return []
  const wanted = by === 'json' ? names : names.map((_, i) => i + 1)
  const read = createLineFieldReader(
    {
      format: 'floatbowl-map 1',
      lines: by === 'json' ? { by } : { by, pattern },
      comments,
      skip_lines: 0,
      skip_after_header: 0,
      decimal,
      missing: [],
      channels: [],
    },
    wanted,
  )
  const found = read(line)
  return found.kind === 'fields' ? [...found.values] : []
}
