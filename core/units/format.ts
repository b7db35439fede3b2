import { fromCanonical } from './convert.ts'
import { findUnit, type UnitContext } from './unitTable.ts'

/** U+2212, the typographic minus. */
export const MINUS = '\u2212'
/** U+202F, narrow no-break space. */
export const NARROW_SPACE = '\u202f'
/** Shown for no reading: U+2013. */
export const NO_VALUE = '\u2013'

/** Words as they begin a sentence. */
export function sentenceStart(words: string): string {
  return words.slice(0, 1).toUpperCase() + words.slice(1)
}

export interface NumberFormat {
  /** Fixed decimals; default the unit's, or 0. */
  readonly decimals?: number
  /** Rounds to a multiple of this first; default the unit's. */
  readonly step?: number
  /** `.` (default) or `,`: see `decimalMarkOf`. */
  readonly decimalMark?: '.' | ','
  /** True puts `+` before values above 0, for differences. */
  readonly isSigned?: boolean
}

/**
 * A number for the screen: fixed decimals, U+2212 minus, no grouping, never "−0"; `–` for NaN and infinities.
 * Throws `RangeError` for decimals outside 0 to 20.
 */
export function formatNumber(value: number, format: NumberFormat = {}): string {
  const { decimals = 0, step = 0, decimalMark = '.', isSigned = false } = format
  if (!(decimals >= 0 && decimals <= 20))
    throw new RangeError(`invalid decimals: ${decimals} (expected 0 to 20)`)
  if (!Number.isFinite(value)) return NO_VALUE
  const rounded = step > 0 ? Math.round(value / step) * step : value
  const digits = Math.abs(rounded).toFixed(decimals)
  const isZero = !/[1-9]/.test(digits)
  const sign = isZero ? '' : rounded < 0 ? MINUS : isSigned ? '+' : ''
  return sign + (decimalMark === ',' ? digits.replace('.', ',') : digits)
}

/**
 * An inside value shown in a unit: converted, with the unit's own decimals, a narrow no-break space and the symbol.
 * λ has no symbol. NaN and missing context give `–` with the unit. Throws `RangeError` for an unknown unit.
 */
export function formatQuantity(
  canonical: number,
  unitId: string,
  context?: UnitContext,
  format: NumberFormat = {},
): string {
  const { symbol } = findUnit(unitId)
  const number = formatUnitNumber(canonical, unitId, context, format)
  return symbol === '' ? number : number + NARROW_SPACE + symbol
}

/** The number of `formatQuantity` alone, for a place where the unit stands apart. */
export function formatUnitNumber(
  canonical: number,
  unitId: string,
  context?: UnitContext,
  format: NumberFormat = {},
): string {
  const { decimals, step } = findUnit(unitId)
  // A caller's decimals mean that finer figures are wanted, so the unit's own step gives way to them.
  const ownStep = format.decimals === undefined ? (step ?? 0) : 0
  return formatNumber(fromCanonical(canonical, unitId, context), { decimals, step: ownStep, ...format })
}

/** A number for files: shortest digits that read back equal, point, hyphen; empty for NaN and infinities. */
export function formatForFile(value: number): string {
  return Number.isFinite(value) ? String(value) : ''
}

/** The decimal mark of a locale (BCP 47), as far as it is a comma or a point. Throws `RangeError` for no such tag. */
export function decimalMarkOf(locale: string): '.' | ',' {
  const part = new Intl.NumberFormat(locale).formatToParts(1.5).find(({ type }) => type === 'decimal')
  return part?.value === ',' ? ',' : '.'
}
