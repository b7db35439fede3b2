import type { LineMap } from './lineMap.ts'

export type TimeFormat = NonNullable<LineMap['clock']>['format']

const plainNumber = /^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?$/
const clockTime = /^(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2}(?:\.\d*)?)$/
const isoTime = /^(\d{4})-(\d{2})-(\d{2})[T ](\d{2}):(\d{2})(?::(\d{2}(?:\.\d*)?))?\s*(Z|[+-]\d{2}:?\d{2})?$/i
const unitsPerSecond = { seconds: 1, milliseconds: 1e3, microseconds: 1e6 }

/** Number of a text with this decimal mark; NaN when it is none. No thousands marks, no hexadecimal. */
export function parseFieldNumber(text: string, decimal: '.' | ','): number {
  const quick = parsePlainDecimal(text, decimal === ',' ? comma : point)
  if (!Number.isNaN(quick)) return quick
  const plain = decimal === ',' ? text.replace(',', '.') : text
  return plainNumber.test(plain) ? Number(plain) : Number.NaN
}

const zero = 0x30
const minus = 0x2d
const point = 0x2e
const comma = 0x2c
/** So many digits are a whole number that a double holds, and so many after the mark a power of ten that it holds: one division then rounds as `Number` does. */
const mostQuickDigits = 15
const powersOfTen = Float64Array.from({ length: mostQuickDigits + 1 }, (_, n) => 10 ** n)

/** `-12.5` and its like, the commonest by far, without making texts; NaN for anything else, which may still be a number. */
function parsePlainDecimal(text: string, mark: number): number {
  const length = text.length
  const isNegative = length > 0 && text.charCodeAt(0) === minus
  let whole = 0
  let digits = 0
  let markAt = -1
  for (let i = isNegative ? 1 : 0; i < length; i++) {
    const code = text.charCodeAt(i)
    const digit = code - zero
    if (digit >= 0 && digit <= 9) {
      whole = whole * 10 + digit
      digits++
    } else if (code === mark && markAt < 0) markAt = i
    else return Number.NaN
  }
  if (digits === 0 || digits > mostQuickDigits) return Number.NaN
  const value = markAt < 0 ? whole : whole / powersOfTen[length - 1 - markAt]
  return isNegative ? -value : value
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
