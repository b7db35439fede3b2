import { fromCanonical } from '../../core/units/convert.ts'
import { decimalMarkOf, formatNumber, NARROW_SPACE } from '../../core/units/format.ts'
import { findUnit, isUnitId, type UnitContext, type UnitId } from '../../core/units/unitTable.ts'
import { language } from '../languageGuard.ts'

export const decimalMark = decimalMarkOf(language)

/** A value as the page shows it: the digits and, apart, the unit. */
export interface ShownValue {
  text: string
  unit: string
}

/** Choices of units, the screen's own first. */
export type UnitChoices = readonly (Readonly<Record<string, string>> | undefined)[]

/** Chosen unit of a quantity: the screen's own choice, else the car's, else `fallback`. */
export function unitFor(quantity: string, choices: UnitChoices, fallback: UnitId): UnitId {
  const wanted = findUnit(fallback).quantity
  for (const choice of choices) {
    const id = choice?.[quantity]
    if (id !== undefined && isUnitId(id) && findUnit(id).quantity === wanted) return id
  }
  return fallback
}

/** Inside value in a screen unit, fixed decimals; from 1000 the thousands stand apart by a narrow space. NaN gives `–`. */
export function shownValue(inside: number, unit: UnitId, context?: UnitContext): ShownValue {
  const { decimals, step, symbol } = findUnit(unit)
  const value = fromCanonical(inside, unit, context)
  const text = formatNumber(value, { decimals, step, decimalMark })
  return { text: spaced(text), unit: symbol }
}

/** A figure and half the width of its interval, without the unit; both a decimal finer than usual where that half would read as nothing. */
export function shownWithDoubt(inside: number, half: number, unit: UnitId): { value: string; half: string } {
  const { decimals: coarse } = findUnit(unit)
  const shown = (value: number, decimals: number) =>
    spaced(formatNumber(fromCanonical(value, unit), { decimals, decimalMark }))
  const decimals = fromCanonical(half, unit) < 10 ** -coarse ? coarse + 1 : coarse
  return { value: shown(inside, decimals), half: shown(half, decimals) }
}

/** Sets the thousands before the decimal mark apart; decimals stay together. */
export function spaced(text: string): string {
  return text.replace(/^\D*\d{4,}/, (whole) => whole.replace(/\B(?=(\d{3})+$)/g, NARROW_SPACE))
}
