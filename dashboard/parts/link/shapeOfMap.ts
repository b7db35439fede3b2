import type { LineMap } from '../../../core/line/lineMap.ts'
import { type ColumnChoice, columnOfChannel, unusedColumn } from './columnChoice.ts'
import type { LineShape } from './guessLines.ts'
import { patternGroups } from './patternGroups.ts'

/**
 * Shape and columns of a saved map.
 * @param guess what the lines at hand look like: a header's names that the map does not use come from there
 */
export function shapeOfMap(map: LineMap, guess: LineShape): { shape: LineShape; columns: ColumnChoice[] } {
  const { lines, clock } = map
  const fieldsOf = [...map.channels.map(({ field }) => field), ...(clock ? [clock.field] : [])]
  const names =
    lines.by === 'pattern'
      ? patternGroups(lines.pattern)
      : fieldsOf.every((field) => typeof field === 'string')
        ? [...new Set([...(guess.by === lines.by ? guess.names : []), ...(fieldsOf as string[])])]
        : []
  const most = Math.max(1, ...fieldsOf.map((field) => (typeof field === 'number' ? field : 0)))
  const fields =
    names.length > 0 ? names.length : Math.max(most, lines.by === 'divider' ? (lines.fields ?? 0) : 0)
  const placeOf = (field: string | number) => (typeof field === 'number' ? field - 1 : names.indexOf(field))
  const columns = Array.from({ length: fields }, () => unusedColumn)
  for (const channel of map.channels) columns[placeOf(channel.field)] = columnOfChannel(channel)
  if (clock) columns[placeOf(clock.field)] = { ...unusedColumn, channel: 'time' }
  const shape: LineShape = {
    by: lines.by,
    divider: lines.by === 'divider' ? lines.divider : ',',
    pattern: lines.by === 'pattern' ? lines.pattern : '',
    decimal: map.decimal,
    comments: [...map.comments],
    names,
    fields,
  }
  return { shape, columns }
}
