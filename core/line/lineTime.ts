import type { LineMap } from './lineMap.ts'

export type TimeFormat = NonNullable<LineMap['clock']>['format']

const plainNumber = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/
const clockTime = /^(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2}(?:\.\d*)?)$/
const isoTime = /^(\d{4})-(\d{2})-(\d{2})[T ](\d{2}):(\d{2})(?::(\d{2}(?:\.\d*)?))?\s*(Z|[+-]\d{2}:?\d{2})?$/i
const unitsPerSecond = { seconds: 1, milliseconds: 1e3, microseconds: 1e6 }

/** Number of a text with this decimal mark; NaN when it is none. No thousands marks, no hexadecimal. */
export function parseFieldNumber(text: string, decimal: '.' | ','): number {
  const plain = decimal === ',' ? text.replace(',', '.') : text
  return plainNumber.test(plain) ? Number(plain) : Number.NaN
}

/** Seconds of a time as text, from an origin of its own (midnight for `clock`, 1970 UTC for `iso8601`); NaN when it is not of that format. */
export function parseLineTime(text: string, format: TimeFormat, decimal: '.' | ','): number {
  if (format === 'clock') {
    const found = clockTime.exec(text.replace(',', '.'))
    return found ? Number(found[1] ?? 0) * 3600 + Number(found[2]) * 60 + Number(found[3]) : Number.NaN
  }
  if (format === 'iso8601') return parseIsoTime(text.replace(',', '.'))
  return parseFieldNumber(text, decimal) / unitsPerSecond[format]
}

function parseIsoTime(text: string): number {
  const found = isoTime.exec(text)
  if (!found) return Number.NaN
  const [, year, month, day, hour, minute, second, zone] = found
  const dayMs = Date.UTC(Number(year), Number(month) - 1, Number(day))
  let offsetMinutes = 0
  if (zone !== undefined && zone.toUpperCase() !== 'Z') {
    const sign = zone[0] === '-' ? -1 : 1
    offsetMinutes = sign * (Number(zone.slice(1, 3)) * 60 + Number(zone.slice(-2)))
  }
  return dayMs / 1000 + Number(hour) * 3600 + (Number(minute) - offsetMinutes) * 60 + Number(second ?? 0)
}

/** A clock of the day that falls by more than half a day has passed midnight. */
const daySeconds = 86400

/** Makes the times of one source continuous over midnight; other formats pass unchanged. */
export function createDayUnwrapper(format: TimeFormat): (timeS: number) => number {
  let days = 0
  let last = Number.NaN
  return (timeS) => {
    if (format !== 'clock') return timeS
    if (last - timeS > daySeconds / 2) days++
    last = timeS
    return timeS + days * daySeconds
  }
}
