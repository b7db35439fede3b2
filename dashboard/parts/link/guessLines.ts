import { splitFields } from '../../../core/line/lineFields.ts'

/** How lines seem to be made: a start for the owner, who sees the columns and may choose otherwise. */
export interface LineShape {
  by: 'divider' | 'json' | 'pattern'
  divider: string
  /** Regular expression whose groups are the fields, for `pattern`. */
  pattern: string
  decimal: '.' | ','
  comments: string[]
  /** Names of the fields when a line of names was seen, or the keys of JSON. */
  names: string[]
  /** Fields of a good line. */
  fields: number
}

export const dividers: readonly (readonly [divider: string, title: string])[] = [
  [',', 'comma'],
  [';', 'semicolon'],
  ['\t', 'tab'],
  [' ', 'white space'],
  ['|', 'upright bar'],
  [':', 'colon'],
]
const commentMarks = ['#', '//', '%']
const commaNumber = /^[-+]?\d+,\d+$/
const pointNumber = /^[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?$/

const isNumber = (text: string) => pointNumber.test(text) || commaNumber.test(text)

/** Guesses from some lines, the torn first and last of which do no harm. Nothing to go by gives one field by comma. */
export function guessLineShape(lines: readonly string[]): LineShape {
  const comments = commentMarks.filter((mark) => lines.some((line) => line.startsWith(mark)))
  const real = lines.filter((line) => line.trim() !== '' && !comments.some((mark) => line.startsWith(mark)))
  const objects = real.map(parseObject).filter((object) => object !== undefined)
  if (objects.length > real.length / 2) {
    const names = [...new Set(objects.flatMap((object) => numberKeys(object)))]
    return { by: 'json', divider: ',', pattern: '', decimal: '.', comments, names, fields: names.length }
  }
  let best: LineShape = {
    by: 'divider',
    divider: ',',
    pattern: '',
    decimal: '.',
    comments,
    names: [],
    fields: 1,
  }
  let bestScore = 0
  for (const [divider] of dividers) {
    const shape = shapeOf(real, divider, comments)
    // Many lines alike count first, then many of their fields being numbers: a comma inside numbers is no divider.
    const score = shape.fields > 1 ? shape.alike * shape.numeric : 0
    if (score > bestScore + 1e-9) {
      bestScore = score
      best = shape.shape
    }
  }
  return best
}

function shapeOf(lines: readonly string[], divider: string, comments: string[]) {
  const rows = lines.map((line) => splitFields(line, divider))
  const counts = new Map<number, number>()
  for (const row of rows) counts.set(row.length, (counts.get(row.length) ?? 0) + 1)
  let fields = 1
  for (const [count, times] of counts) if (times > (counts.get(fields) ?? 0)) fields = count
  const alike = rows.filter((row) => row.length === fields)
  const cells = alike.flat()
  const numeric = cells.filter(isNumber).length / Math.max(1, cells.length)
  const header = alike.find(
    (row) => row.filter((cell) => cell !== '' && !isNumber(cell)).length > row.length / 2,
  )
  const commas = cells.filter((cell) => commaNumber.test(cell)).length
  const points = cells.filter((cell) => cell.includes('.') && pointNumber.test(cell)).length
  const shape: LineShape = {
    by: 'divider',
    divider,
    pattern: '',
    decimal: divider !== ',' && commas > points ? ',' : '.',
    comments,
    names: header ?? [],
    fields,
  }
  return { shape, fields, alike: alike.length / Math.max(1, rows.length), numeric }
}

function parseObject(line: string): Record<string, unknown> | undefined {
  if (!line.trim().startsWith('{')) return undefined
  try {
    const value: unknown = JSON.parse(line)
    return value !== null && typeof value === 'object' ? (value as Record<string, unknown>) : undefined
  } catch {
    return undefined
  }
}

function numberKeys(object: Record<string, unknown>, prefix = ''): string[] {
  return Object.entries(object).flatMap(([key, value]) => {
    if (value !== null && typeof value === 'object' && !Array.isArray(value))
      return numberKeys(value as Record<string, unknown>, `${prefix}${key}.`)
    return typeof value === 'number' || (typeof value === 'string' && isNumber(value))
      ? [`${prefix}${key}`]
      : []
  })
}
