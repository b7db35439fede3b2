import { checkNumber, showValue } from './checkKind.ts'

/**
 * Throws a `RangeError` that names the argument, its value and what was expected, if `value` lies outside
 * [least, most], is infinite or no number. NaN and what is left out pass: a missing reading is not the caller's mistake and makes the result NaN.
 */
export function checkRange(name: string, value: number, least: number, most: number): void {
  checkNumber(name, value)
  if (value < least || value > most || value === Infinity || value === -Infinity) {
    throw new RangeError(`invalid ${name}: ${value} (expected ${least} to ${most})`)
  }
}

/** Throws a `RangeError` if `value` is not a finite number above zero; NaN throws too. */
export function checkPositive(name: string, value: number): void {
  if (typeof value !== 'number' || !(value > 0 && value < Infinity)) {
    throw new RangeError(`invalid ${name}: ${showValue(value)} (expected a finite number above 0)`)
  }
}
