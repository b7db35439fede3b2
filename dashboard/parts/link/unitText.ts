import { findUnit, isUnitId } from '../../../core/units/unitTable.ts'

/** A declared unit as a person reads it: `°C` for `C`; empty for a bare number. */
export function unitText(unit: string): string {
  if (unit === '1') return ''
  return (isUnitId(unit) && findUnit(unit).symbol) || unit.replace('_', ' ')
}
