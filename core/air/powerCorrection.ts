import { type AirState, checkAirState, dryPressureKpa } from './humidAir.ts'

/** Rules for reducing measured power to reference air. */
export type PowerCorrectionMethod = 'sae_j1349' | 'iso_1585' | 'din_70020' | 'std'

/** Conventional inch of mercury, kPa (NIST SP 811, appendix B). */
const INCH_OF_MERCURY_KPA = 3.386389

interface Rule {
  readonly factor: (air: AirState) => number
  readonly reference: string
  /** Test air for which the rule is meant, °C, and limits of the factor; absent if the rule names none. */
  readonly temperatureC?: readonly [number, number]
  readonly factorLimits?: readonly [number, number]
}

// The standards' formulas use 273 and 460 for the zero of the scales, not 273.15 and 459.67.
const rules: Readonly<Record<PowerCorrectionMethod, Rule>> = {
  // SAE J1349 (June 1990 form): 15 % of the indicated power taken as friction. Test range and ±7 %: from memory.
  sae_j1349: {
    factor: (air) => 1.18 * (99 / dryPressureKpa(air)) * Math.sqrt((air.temperatureC + 273) / 298) - 0.18,
    reference: '25 degC, 99 kPa dry',
    temperatureC: [15, 35],
    factorLimits: [0.93, 1.07],
  },
  // ISO 1585:1992, spark ignition (same in 80/1269/EEC and UN R85); validity limits from memory.
  iso_1585: {
    factor: (air) => (99 / dryPressureKpa(air)) ** 1.2 * ((air.temperatureC + 273) / 298) ** 0.6,
    reference: '25 degC, 99 kPa dry',
    temperatureC: [15, 35],
    factorLimits: [0.93, 1.07],
  },
  // DIN 70020: total pressure, no humidity term.
  din_70020: {
    factor: (air) => (101.3 / air.pressureKpa) * Math.sqrt((air.temperatureC + 273) / 293),
    reference: '20 degC, 101.3 kPa',
  },
  // SAE J607 (withdrawn), the 'standard' correction: 60 degF, 29.92 inHg dry.
  std: {
    factor: (air) =>
      ((29.92 * INCH_OF_MERCURY_KPA) / dryPressureKpa(air)) *
      Math.sqrt((air.temperatureC * 1.8 + 32 + 460) / 520),
    reference: '60 degF, 29.92 inHg dry',
  },
}

function ruleOf(method: PowerCorrectionMethod): Rule {
  if (!Object.hasOwn(rules, method)) {
    throw new RangeError(`invalid power correction: ${method} (expected ${Object.keys(rules).join(', ')})`)
  }
  return rules[method]
}

/**
 * Factor by which measured power is multiplied to give power in the method's reference air (1 there). NaN in any field
 * gives NaN; an unknown method or impossible air throws `RangeError`. Not meant for boosted engines. Whether the rule
 * may be used in this air at all: `powerCorrectionLimits`.
 * Sources: SAE J1349 (1990), ISO 1585:1992, DIN 70020, SAE J607.
 */
export function powerCorrection(method: PowerCorrectionMethod, air: AirState): number {
  const rule = ruleOf(method)
  checkAirState(air)
  return rule.factor(air)
}

export interface PowerCorrectionLimits {
  readonly factor: number
  /** The method's reference air, in words. */
  readonly reference: string
  /** True if the air lies inside the method's own limits, or the method names none. */
  readonly isValid: boolean
  /** Each limit that is broken, in words with the values. */
  readonly reasons: readonly string[]
}

/** The factor with the method's own validity limits checked. NaN air is not valid. Throws as `powerCorrection`. */
export function powerCorrectionLimits(method: PowerCorrectionMethod, air: AirState): PowerCorrectionLimits {
  const rule = ruleOf(method)
  const factor = powerCorrection(method, air)
  const reasons: string[] = []
  if (Number.isNaN(factor)) reasons.push('the air is not known')
  noteOutside(reasons, 'air temperature', air.temperatureC, rule.temperatureC, ' degC')
  noteOutside(reasons, 'factor', factor, rule.factorLimits, '')
  return { factor, reference: rule.reference, isValid: reasons.length === 0, reasons }
}

function noteOutside(
  reasons: string[],
  what: string,
  value: number,
  limits: readonly [number, number] | undefined,
  unit: string,
): void {
  if (limits === undefined || !(value < limits[0] || value > limits[1])) return
  reasons.push(`${what} ${Number(value.toFixed(3))}${unit} is outside ${limits[0]} to ${limits[1]}${unit}`)
}
