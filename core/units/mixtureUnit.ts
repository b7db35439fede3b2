import { fuelInTank } from '../fuel/fuels.ts'
import { fromCanonical } from './convert.ts'
import { formatNumber } from './format.ts'
import { findUnit, isUnitId, type UnitId } from './unitTable.ts'

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

/** The mixture unit of that name for the fuel in the tank; λ for an unknown name, and for the ratio of a fuel that is not known. */
export function mixtureUnitOf(
  name: string | undefined,
  fuel: { id?: string | undefined; ethanol_pct?: number | undefined } | undefined,
): MixtureUnit {
  if (name === undefined || !isUnitId(name) || findUnit(name).quantity !== 'mixture') return lambdaUnit
  return createMixtureUnit(name, ratioOf(fuel))
}

function ratioOf(fuel: Parameters<typeof fuelInTank>[0]): number {
  try {
    return fuelInTank(fuel).stoichiometricRatio
  } catch {
    // A fuel that its maker does not know has no ratio: λ needs none.
    return Number.NaN
  }
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

/** A reading as a sentence has it: `λ 1.02`, `AFR 14.9`. */
export function mixtureWords(lambda: number, unit: MixtureUnit): string {
  return `${unit.symbol} ${formatNumber(unit.of(lambda), { decimals: unit.decimals })}`
}

/** The size of a distance as a sentence has it, without a sign: `0.04`, in AFR `0.6`. `from`: the λ it starts at; `finer` adds decimals. */
export function distanceWords(stepLambda: number, unit: MixtureUnit, from = 1, finer = 0): string {
  return formatNumber(Math.abs(mixtureStep(stepLambda, unit, from)), { decimals: unit.decimals + finer })
}

/** λ of a value in this unit. */
export function lambdaOf(value: number, unit: MixtureUnit): number {
  return unit.isTurned ? unit.of(1) / value : value / unit.of(1)
}
