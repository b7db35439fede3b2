import type { Tank } from '../../../core/contract/api.ts'
import { findStretches, type TankStretch } from '../../../core/tuning/tankLog.ts'
import { fromCanonical } from '../../../core/units/convert.ts'
import { findUnit, type UnitId } from '../../../core/units/unitTable.ts'
import { num } from '../../words/runWords.ts'
import { differingParts, type FormerSet, fittedAt } from '../fitted/partsHistory.ts'

/** One filling with what became known by it. */
export interface TankRow {
  tank: Tank
  /** The stretch that it closes; absent for a part filling and for the first full one. */
  stretch?: TankStretch
  /** Parts that differ from those at the filling before: what the figure is tied to. */
  changed: string[]
}

/** Rows of the log, newest first. */
export function tankRows(tanks: readonly Tank[], sets: readonly FormerSet[]): TankRow[] {
  const ordered = [...tanks].sort((a, b) => Date.parse(a.at) - Date.parse(b.at))
  const stretches = new Map(
    findStretches(ordered, (at) => fittedAt(sets, at)).map((stretch) => [stretch.id, stretch]),
  )
  return ordered
    .map((tank, i) => ({
      tank,
      stretch: stretches.get(tank.id),
      changed: i === 0 ? [] : differingParts(fittedAt(sets, ordered[i - 1].at), fittedAt(sets, tank.at)),
    }))
    .reverse()
}

/** An economy in the owner's unit with the error that belongs to it there; NaN when not known. */
export function economyShown(l100Km: number, se: number, unit: UnitId): { value: number; error: number } {
  const value = fromCanonical(l100Km, unit)
  // Half the way between the two ends: a reciprocal unit bends the interval.
  const error =
    Math.abs(fromCanonical(l100Km + se, unit) - fromCanonical(Math.max(l100Km - se, 1e-9), unit)) / 2
  return { value, error }
}

/** `12.4 ± 0.5 L/100 km`: the 95 % range of the figure. */
export function economyText(l100Km: number, se: number, unit: UnitId): string {
  const { value, error } = economyShown(l100Km, 1.96 * se, unit)
  return `${num(value, 1)} ± ${num(error, 1)} ${findUnit(unit).symbol}`
}
