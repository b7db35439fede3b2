import type { NumberColumn } from '../numeric/monotoneCurve.ts'
import { findUnit, type UnitContext } from './unitTable.ts'

/** How a unit turns into the inside one: value × scale + offset, or scale ÷ value. NaN scale: the context lacks a figure. */
export interface UnitTransfer {
  readonly scale: number
  readonly offset: number
  readonly isReciprocal: boolean
}

/**
 * Scale and offset from a unit to the inside unit of its quantity, worked out once for a column. If the unit needs the
 * stoichiometric ratio or the barometer and the context has none (or NaN), all values become NaN.
 * Throws `RangeError` for an unknown unit.
 */
export function unitTransfer(unitId: string, context: UnitContext = {}): UnitTransfer {
  const unit = findUnit(unitId)
  const isReciprocal = unit.isReciprocal ?? false
  if (unit.needs === undefined) return { scale: unit.scale, offset: unit.offset, isReciprocal }
  const figure = context[unit.needs] ?? NaN
  if (unit.needs === 'stoichiometricRatio') return { scale: unit.scale / figure, offset: 0, isReciprocal }
  return { scale: Number.isNaN(figure) ? NaN : unit.scale, offset: figure, isReciprocal }
}

/** What a unit needs from the context and does not find there, or `undefined`. Throws for an unknown unit. */
export function missingContext(unitId: string, context: UnitContext = {}): keyof UnitContext | undefined {
  const { needs } = findUnit(unitId)
  return needs !== undefined && Number.isNaN(context[needs] ?? NaN) ? needs : undefined
}

/**
 * Value in the inside unit (λ, rpm, kPa absolute, °C, V, mA, Ω, %, m/s, s, kg, mm, m, L, L/100 km, kW, N·m).
 * NaN for NaN, for a missing context and for 0 in a reciprocal unit (0 mpg). Throws `RangeError` for an unknown unit.
 */
export function toCanonical(value: number, unitId: string, context?: UnitContext): number {
  const { scale, offset, isReciprocal } = unitTransfer(unitId, context)
  if (isReciprocal) return value > 0 ? scale / value : NaN
  return value * scale + offset
}

/** Value in a unit from the inside one: the inverse of `toCanonical`, NaN and errors likewise. */
export function fromCanonical(canonical: number, unitId: string, context?: UnitContext): number {
  const { scale, offset, isReciprocal } = unitTransfer(unitId, context)
  if (isReciprocal) return canonical > 0 ? scale / canonical : NaN
  return (canonical - offset) / scale
}

/**
 * Value of one unit in another of the same quantity. Throws `RangeError` for unknown units and for two quantities.
 */
export function convertUnit(value: number, fromId: string, toId: string, context?: UnitContext): number {
  const from = findUnit(fromId).quantity
  const to = findUnit(toId).quantity
  if (from !== to) throw new RangeError(`invalid conversion: ${fromId} is ${from}, ${toId} is ${to}`)
  if (fromId === toId) return value
  return fromCanonical(toCanonical(value, fromId, context), toId, context)
}

/**
 * The first `count` values of a column into the inside unit. No allocation; `target` may be the same column. NaN as
 * `toCanonical`; throws for an unknown unit.
 */
export function toCanonicalInto<T extends NumberColumn>(
  target: T,
  values: NumberColumn,
  unitId: string,
  context?: UnitContext,
  count = values.length,
): T {
  const { scale, offset, isReciprocal } = unitTransfer(unitId, context)
  if (isReciprocal) for (let i = 0; i < count; i++) target[i] = values[i] > 0 ? scale / values[i] : NaN
  else if (scale === 1 && offset === 0) for (let i = 0; i < count; i++) target[i] = values[i]
  else for (let i = 0; i < count; i++) target[i] = values[i] * scale + offset
  return target
}

/**
 * As `toCanonicalInto` for a unit that needs the barometer, with the barometer as a column, kPa: absolute pressure at
 * each sample. Throws `RangeError` for an unknown unit and for one that needs no barometer.
 */
export function toAbsoluteInto<T extends NumberColumn>(
  target: T,
  values: NumberColumn,
  unitId: string,
  barometerKpa: NumberColumn,
  count = values.length,
): T {
  const unit = findUnit(unitId)
  if (unit.needs !== 'barometerKpa')
    throw new RangeError(`invalid unit: ${unitId} (expected vacuum or gauge pressure)`)
  const scale = unit.scale
  for (let i = 0; i < count; i++) target[i] = barometerKpa[i] + values[i] * scale
  return target
}
