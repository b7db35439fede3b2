import type { CarProfile } from '../contract/car.ts'
import { fromCanonical } from '../units/convert.ts'
import { chosenUnit, parseUnitChoice } from '../units/unitChoice.ts'
import { findUnit, type Quantity, type UnitId } from '../units/unitTable.ts'
import { figure } from './reportText.ts'

/** How a sheet gives what is neither mixture nor bore. */
export interface ReportUnits {
  /** `20 °C`; a dash for a missing value. @param finer decimals beyond the usual of the unit */
  text(quantity: Quantity, value: number | null | undefined, finer?: number): string
  /** The bare figure, for one that stands before another of the same unit. */
  bare(quantity: Quantity, value: number, finer?: number): string
  /** A height, m: in feet where roads are in miles. */
  height(metres: number): string
}

/** Units of the sheet: those asked for, else as the car's profile says, else metric ones. */
export function reportUnits(
  asked: Readonly<Record<string, string>> = {},
  car: CarProfile | undefined,
): ReportUnits {
  const { choice } = parseUnitChoice({ ...car?.units, ...asked })
  const unitOf = (quantity: Quantity): UnitId => {
    const unit = chosenUnit(quantity, choice)
    // The air has no vacuum and no gauge pressure.
    if (!findUnit(unit).needs) return unit
    return unit.includes('vacuum') ? 'inHg' : 'kPa'
  }
  const bare = (quantity: Quantity, value: number | null | undefined, finer = 0) => {
    const unit = unitOf(quantity)
    const shown = typeof value === 'number' ? fromCanonical(value, unit) : value
    return figure(shown, findUnit(unit).decimals + finer)
  }
  return {
    bare,
    text: (quantity, value, finer) => `${bare(quantity, value, finer)} ${findUnit(unitOf(quantity)).symbol}`,
    height(metres) {
      const unit = ['mi', 'ft'].includes(unitOf('distance')) ? 'ft' : 'm'
      return `${figure(fromCanonical(Math.round(metres / 10) * 10, unit), 0)} ${unit}`
    },
  }
}
