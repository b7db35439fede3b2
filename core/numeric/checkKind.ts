/**
 * Throws a `RangeError` that names the argument and its value if it is neither a number nor left out. NaN and what is left out pass: a missing
 * reading is not the caller's mistake. A text, `null` or list would otherwise count as a nought or join to a text in a sum.
 */
export function checkNumber(name: string, value: unknown): void {
  if (typeof value !== 'number' && value !== undefined) {
    throw new RangeError(`invalid ${name}: ${showValue(value)} (expected a number, NaN where it is missing)`)
  }
}

/** Throws a `RangeError` if `value` is no object; `expected` says in words what it should be. */
export function checkObject(name: string, value: unknown, expected: string): void {
  if (typeof value !== 'object' || value === null) {
    throw new RangeError(`invalid ${name}: ${showValue(value)} (expected ${expected})`)
  }
}

/** A wrong value as an error's text shows it: texts in quotes, so that "12" is not taken for 12. */
export function showValue(value: unknown): string {
  if (typeof value === 'string') return JSON.stringify(value.slice(0, 60))
  if (Array.isArray(value)) return `a list of ${value.length}`
  return typeof value === 'object' && value !== null ? 'an object' : String(value)
}
