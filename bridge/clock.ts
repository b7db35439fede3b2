/** The bridge's two clocks: one that never jumps, and the calendar. Both are arguments everywhere, so that tests own time. */
export interface Clock {
  /** Seconds since the bridge started; never goes back. */
  nowS(): number
  /** Milliseconds since 1970, as the machine believes now; may jump. */
  wallMs(): number
}

/** The machine's clocks. */
export function createClock(): Clock {
  const startMs = performance.now()
  return {
    nowS: () => (performance.now() - startMs) / 1000,
    wallMs: () => Date.now(),
  }
}

const pad = (value: number, digits = 2) => String(value).padStart(digits, '0')

/** ISO 8601 with the offset of the machine's time zone, e.g. `2025-06-01T16:32:05.120+02:00`. */
export function formatLocalIso(wallMs: number): string {
  const offsetMin = -new Date(wallMs).getTimezoneOffset()
  const local = new Date(wallMs + offsetMin * 60_000).toISOString().slice(0, -1)
  const size = Math.abs(offsetMin)
  return `${local}${offsetMin < 0 ? '-' : '+'}${pad(Math.floor(size / 60))}:${pad(size % 60)}`
}

/** Name of a session's directory: the local calendar day, `2025-06-01`. */
export function formatSession(wallMs: number): string {
  return formatLocalIso(wallMs).slice(0, 10)
}

/** UTC in basic ISO 8601, `20250601T143205Z`; with milliseconds `20250601T143205.120Z` when asked. */
export function formatBasicUtc(wallMs: number, withMs = false): string {
  const [day, time] = new Date(wallMs).toISOString().split('T')
  const clock = time.replaceAll(':', '')
  return `${day.replaceAll('-', '')}T${withMs ? clock : `${clock.slice(0, 6)}Z`}`
}
