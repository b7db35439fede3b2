import type { CarProfile } from '../../core/contract/car.ts'
import { formatNumber } from '../../core/units/format.ts'
import {
  createMixtureUnit,
  lambdaUnit,
  type MixtureUnit,
  mixtureRange,
  mixtureStep,
  mixtureUnitOf,
} from '../../core/units/mixtureUnit.ts'
import { decimalMark, unitFor } from './units.ts'

export { createMixtureUnit, lambdaUnit, type MixtureUnit, mixtureRange, mixtureStep }

type Choices = readonly (Readonly<Record<string, string>> | undefined)[]

/** The unit that was chosen, for a car and the fuel in its tank. */
export function mixtureUnitFor(choices: Choices, car: Pick<CarProfile, 'fuel'> | undefined): MixtureUnit {
  return mixtureUnitOf(unitFor('mixture', choices, 'lambda'), car?.fuel)
}

/** A reading: `1.02`, `14.9`; `–` for null and NaN. `finer` adds decimals. */
export function mixtureText(lambda: number | null | undefined, unit: MixtureUnit, finer = 0): string {
  return formatNumber(unit.of(lambda ?? Number.NaN), { decimals: unit.decimals + finer, decimalMark })
}

/** A reading with its sign of unit, `λ 1.02`, `AFR 14.9`. */
export function mixtureWithUnit(lambda: number | null | undefined, unit: MixtureUnit, finer = 0): string {
  return `${unit.symbol} ${mixtureText(lambda, unit, finer)}`
}

/** How far leaner than `from` as text, leaner positive in each unit: for φ that is a step down. */
export function leanerText(stepLambda: number | null, unit: MixtureUnit, from = 1): string {
  const step = mixtureStep(stepLambda ?? Number.NaN, unit, Number.isNaN(from) ? 1 : from)
  return formatNumber(unit.isTurned ? -step : step, { decimals: unit.decimals, decimalMark })
}

/** A distance as text: `0.04`, with its sign when asked. `from`: the λ it starts at, which matters for φ alone. */
export function mixtureStepText(
  stepLambda: number | null | undefined,
  unit: MixtureUnit,
  { finer = 0, isSigned = false, from = 1 }: { finer?: number; isSigned?: boolean; from?: number } = {},
): string {
  return formatNumber(mixtureStep(stepLambda ?? Number.NaN, unit, from), {
    decimals: unit.decimals + finer,
    decimalMark,
    isSigned,
  })
}
