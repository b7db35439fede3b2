/**
 * Shortest decimal that reads back to the very same single-precision number; empty for NaN. Column values are integers times a step, so that few digits
 * nearly always do.
 */
export function float32Text(value: number): string {
  if (Number.isNaN(value)) return ''
  for (let scale = 1; scale <= 1e6; scale *= 10) {
    const near = Math.round(value * scale) / scale
    if (Math.fround(near) === value) return plain(near)
  }
  for (let digits = 7; digits < 9; digits++) {
    const near = Number(value.toPrecision(digits))
    if (Math.fround(near) === value) return plain(near)
  }
  return plain(Number(value.toPrecision(9)))
}

/** The same for a double; empty for NaN. */
export function float64Text(value: number): string {
  return Number.isNaN(value) ? '' : plain(value)
}

function plain(value: number): string {
  // A minus sign before nothing, and "Infinity", are no numbers to a reader of tables.
  if (value === 0) return '0'
  return Number.isFinite(value) ? String(value) : ''
}

const microsPerSecond = 1e6

/** Microseconds since 1970 of a capture second. */
export function utcMicros(startMs: number, timeS: number): number {
  return Math.round(startMs * 1000) + Math.round(timeS * microsPerSecond)
}

/** A moment as ISO 8601 in UTC with microseconds. */
export function isoMicros(micros: number): string {
  const ms = Math.floor(micros / 1000)
  const rest = String(micros - ms * 1000).padStart(3, '0')
  return `${new Date(ms).toISOString().slice(0, -1)}${rest}Z`
}
