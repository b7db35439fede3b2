import { localStart } from '../units/localStart.ts'

/** Text made safe for HTML and attribute values. */
export function escapeHtml(text: string): string {
  return text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
    .replaceAll("'", '&#39;')
}

/** A number with fixed decimals and a true minus; a dash for a missing one. */
export function figure(value: number | null | undefined, decimals: number): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–'
  return value.toFixed(decimals).replace('-', '\u2212')
}

/** Seconds as `31 min`, `62 s` or `1 h 05 min`. */
export function duration(seconds: number): string {
  if (!(seconds >= 0)) return '–'
  if (seconds < 100) return `${Math.round(seconds)} s`
  const minutes = Math.round(seconds / 60)
  return minutes < 60
    ? `${minutes} min`
    : `${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, '0')} min`
}

/** Start of a run by the clock where it was driven, with that clock's zone: `2024-05-04 09:12 UTC+02:00`. */
export function startInZone({ start = '', zone }: { start?: string; zone?: string }): string {
  const local = localStart(start, zone)
  const [, offset] = /(Z|[+-]\d{2}:?\d{2})$/.exec(local) ?? []
  if (offset === undefined) return startWord(local)
  return `${startWord(local)} UTC${/^Z|^[+-]00:?00$/.test(offset) ? '' : offset}`
}

/** Date and time as they are written: `2024-05-04 09:12`. */
function startWord(start: string): string {
  const match = /^(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2})/.exec(start)
  return match ? `${match[1]} ${match[2]}` : 'date unknown'
}
