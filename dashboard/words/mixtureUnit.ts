import type { CarProfile } from '../../core/contract/car.ts'
import { fuelInTank } from '../../core/fuel/fuels.ts'
import { fromCanonical } from '../../core/units/convert.ts'
import { formatNumber } from '../../core/units/format.ts'
import { findUnit, type UnitId } from '../../core/units/unitTable.ts'
import { decimalMark, unitFor } from './units.ts'

type Choices = readonly (Readonly<Record<string, string>> | undefined)[]

/** How mixture is shown: λ, the air/fuel ratio of the fuel in the tank, or φ. Everything inside stays λ. */
export interface MixtureUnit {
  readonly id: UnitId
  /** Stands beside the number: `λ`, `AFR`, `φ`. */
  readonly symbol: string
  /** Decimals of a reading. */
  readonly decimals: number
  /** True when a greater number is richer. */
  readonly isTurned: boolean
  /** λ in this unit; NaN stays NaN. */
  of(lambda: number): number
}

/** @param stoichiometricRatio kg air for each kg of the fuel; NaN (an unknown fuel) falls back to λ */
export function createMixtureUnit(id: UnitId, stoichiometricRatio: number): MixtureUnit {
  const known = id === 'afr' && !(stoichiometricRatio > 0) ? 'lambda' : id
  const { decimals, symbol, isReciprocal } = findUnit(known)
  const context = { stoichiometricRatio }
  return {
    id: known,
    symbol: symbol || 'λ',
    decimals,
    isTurned: isReciprocal === true,
    of: (lambda) => fromCanonical(lambda, known, context),
  }
}

export const lambdaUnit: MixtureUnit = createMixtureUnit('lambda', Number.NaN)

/** The unit that was chosen, for a car and the fuel in its tank. */
export function mixtureUnitFor(choices: Choices, car: Pick<CarProfile, 'fuel'> | undefined): MixtureUnit {
  return createMixtureUnit(unitFor('mixture', choices, 'lambda'), ratioOf(car))
}

function ratioOf(car: Pick<CarProfile, 'fuel'> | undefined): number {
  try {
    return fuelInTank(car?.fuel).stoichiometricRatio
  } catch {
    // A fuel that its maker does not know has no ratio: λ needs none.
    return Number.NaN
  }
}

/** A reading: `1.02`, `14.9`; `–` for null and NaN. `finer` adds decimals. */
export function mixtureText(lambda: number | null | undefined, unit: MixtureUnit, finer = 0): string {
  return formatNumber(unit.of(lambda ?? Number.NaN), { decimals: unit.decimals + finer, decimalMark })
}

/** A reading with its sign of unit, `λ 1.02`, `AFR 14.9`. */
export function mixtureWithUnit(lambda: number | null | undefined, unit: MixtureUnit, finer = 0): string {
  return `${unit.symbol} ${mixtureText(lambda, unit, finer)}`
}

/** Several λ as a range of this unit, the lesser number first: φ turns them round. */
export function mixtureRange(lambdas: readonly number[], unit: MixtureUnit): readonly [number, number] {
  const shown = lambdas.map((lambda) => unit.of(lambda))
  return [Math.min(...shown), Math.max(...shown)]
}

/** A distance in this unit, for a step of λ from `from` (default 1, where it matters only for φ). */
export function mixtureStep(stepLambda: number, unit: MixtureUnit, from = 1): number {
  return unit.of(from + stepLambda) - unit.of(from)
}

/** How far leaner than `from` as text, leaner positive in each unit: for φ that is a step down. */
export function leanerText(stepLambda: number | null, unit: MixtureUnit, from = 1): string {
  const step = mixtureStep(stepLambda ?? Number.NaN, unit, Number.isNaN(from) ? 1 : from)
  return formatNumber(unit.isTurned ? -step : step, { decimals: unit.decimals, decimalMark })
}

/** A distance as text: `0.04`, with its sign when asked. */
export function mixtureStepText(
  stepLambda: number | null | undefined,
  unit: MixtureUnit,
  { finer = 0, isSigned = false }: { finer?: number; isSigned?: boolean } = {},
): string {
  return formatNumber(mixtureStep(stepLambda ?? Number.NaN, unit), {
    decimals: unit.decimals + finer,
    decimalMark,
    isSigned,
  })
}
