/**
 * Throws a `RangeError` that names the argument, its value and what was expected, if `value` lies outside
 * [least, most] or is infinite. NaN passes: a missing reading is not the caller's mistake and makes the result NaN.
 */
export function checkRange(name: string, value: number, least: number, most: number): void {
  if (value < least || value > most || value === Infinity || value === -Infinity) {
    throw new RangeError(`invalid ${name}: ${value} (expected ${least} to ${most})`)
  }
}

/** Throws a `RangeError` if `value` is not a finite number above zero; NaN throws too. */
export function checkPositive(name: string, value: number): void {
  if (!(value > 0 && value < Infinity)) {
    throw new RangeError(`invalid ${name}: ${value} (expected a finite number above 0)`)
  }
}
