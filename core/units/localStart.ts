/**
 * Start of a run by the clock on the wall where it was driven, ISO 8601 with offset: one noted in UTC (`Z`) is moved to `zone`, an IANA name as a
 * capture's first record gives it. Left as it is where it carries an offset of its own, or the zone is UTC, not given or not known.
 */
export function localStart(start: string, zone: string | undefined): string {
  const ms = /Z$/i.test(start) ? Date.parse(start) : Number.NaN
  if (!zone || Number.isNaN(ms)) return start
  const offsetMin = offsetMinutes(ms, zone)
  if (offsetMin === 0) return start
  const local = new Date(ms + offsetMin * 60_000).toISOString().slice(0, -1)
  const size = Math.abs(offsetMin)
  const two = (value: number) => String(value).padStart(2, '0')
  return `${local}${offsetMin < 0 ? '-' : '+'}${two(Math.floor(size / 60))}:${two(size % 60)}`
}

/** How far a zone's clock is ahead of UTC at that moment, whole minutes; 0 for a zone that is not known here. */
function offsetMinutes(ms: number, zone: string): number {
  let parts: Intl.DateTimeFormatPart[]
  try {
    parts = new Intl.DateTimeFormat('en-GB', {
      timeZone: zone,
      hourCycle: 'h23',
      year: 'numeric',
      month: 'numeric',
      day: 'numeric',
      hour: 'numeric',
      minute: 'numeric',
    }).formatToParts(ms)
  } catch (error) {
    if (!(error instanceof RangeError)) throw error
    return 0
  }
  const of = (type: string) => Number(parts.find((part) => part.type === type)?.value)
  const wallMs = Date.UTC(of('year'), of('month') - 1, of('day'), of('hour'), of('minute'))
  return Math.round((wallMs - Math.floor(ms / 60_000) * 60_000) / 60_000)
}
