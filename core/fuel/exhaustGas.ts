import { checkObject, showValue } from '../numeric/checkKind.ts'
import { checkRange } from '../numeric/checkRange.ts'
import { type Composition, perCarbon } from './composition.ts'
import { type Fuel, type FuelId, findFuel } from './fuels.ts'

/** What a workshop gas analyser shows, dry gas by volume. */
export interface ExhaustGas {
  readonly coPct: number
  readonly co2Pct: number
  /** Hydrocarbons as hexane, ppm; 0 if left out. */
  readonly hcPpm?: number
  readonly o2Pct: number
  /** Nitrogen oxides as NO, ppm; 0 if left out (it moves λ by under 0.004 up to 1500 ppm). */
  readonly noxPpm?: number
}

// H/C and O/C of the inspection fuel in Brettschneider's equation, as UN Regulation 83 prints it for petrol.
const INSPECTION_GASOLINE: Composition = Object.freeze({ carbon: 1, hydrogen: 1.7261, oxygen: 0.0176 })
// Equilibrium constant of the water-gas reaction, from which hydrogen is worked out (Brettschneider 1979).
const WATER_GAS_CONSTANT = 3.5
// Carbon atoms of hexane, in which an infrared analyser expresses hydrocarbons (Brettschneider 1979).
const HEXANE_CARBON = 6
const PPM_PER_PCT = 10000

/** What may say the fuel: a fuel, a built-in fuel's id, or a bare composition. */
export type ExhaustFuel = Fuel | FuelId | Composition

function compositionOf(fuel: ExhaustFuel): Composition {
  if (typeof fuel !== 'string')
    checkObject('fuel', fuel, 'a fuel, the id of a built-in one, or a composition')
  const composition = typeof fuel === 'string' || 'composition' in fuel ? findFuel(fuel).composition : fuel
  if (!(composition.carbon > 0)) {
    throw new RangeError(
      `invalid carbon: ${showValue(composition.carbon)} (expected a fuel that contains carbon)`,
    )
  }
  return perCarbon(composition)
}

function checkGas(gas: ExhaustGas): void {
  checkObject('gas', gas, 'coPct, co2Pct and o2Pct')
  checkRange('coPct', gas.coPct, 0, 100)
  checkRange('co2Pct', gas.co2Pct, 0, 100)
  checkRange('o2Pct', gas.o2Pct, 0, 100)
  checkRange('hcPpm', gas.hcPpm ?? 0, 0, 1e6)
  checkRange('noxPpm', gas.noxPpm ?? 0, 0, 1e6)
  const sumPct = gas.coPct + gas.co2Pct + gas.o2Pct + ((gas.hcPpm ?? 0) + (gas.noxPpm ?? 0)) / PPM_PER_PCT
  if (sumPct > 100) throw new RangeError(`invalid gas sum: ${sumPct} % (expected at most 100 %)`)
}

function balance(
  coPct: number,
  co2Pct: number,
  hcPct: number,
  o2Pct: number,
  noPct: number,
  fuel: Composition,
): number {
  const { hydrogen, oxygen } = fuel
  const carbonPct = co2Pct + coPct
  // Written without CO/CO₂, so that gas without carbon dioxide has its limit in place of a division by zero.
  const waterShare = carbonPct > 0 ? (WATER_GAS_CONSTANT * co2Pct) / (WATER_GAS_CONSTANT * co2Pct + coPct) : 0
  const oxygenFound =
    co2Pct + coPct / 2 + o2Pct + noPct / 2 + ((hydrogen / 4) * waterShare - oxygen / 2) * carbonPct
  return oxygenFound / ((1 + hydrogen / 4 - oxygen / 2) * (carbonPct + HEXANE_CARBON * hcPct))
}

/**
 * λ from an exhaust-gas analysis: the balance of oxygen against carbon, whatever the state of combustion. Hydrogen
 * need not be measured. `fuel` gives H/C and O/C; default the petrol of inspection work (1.7261, 0.0176).
 * NaN for NaN and for gas without carbon; a value below 0, above 100 % or a sum above 100 % throws `RangeError`.
 * Source: J. Brettschneider, Bosch Technische Berichte 6 (1979) 177; as in UN Regulation 83.
 */
export function lambdaFromExhaustGas(gas: ExhaustGas, fuel: ExhaustFuel = INSPECTION_GASOLINE): number {
  checkGas(gas)
  const composition = compositionOf(fuel)
  const hcPct = (gas.hcPpm ?? 0) / PPM_PER_PCT
  if (!(gas.coPct + gas.co2Pct + hcPct > 0)) return NaN
  return balance(gas.coPct, gas.co2Pct, hcPct, gas.o2Pct, (gas.noxPpm ?? 0) / PPM_PER_PCT, composition)
}

/** Largest allowed error of one gas: the greater of an absolute and a relative one. */
export interface GasTolerance {
  /** In the gas's own unit, % or ppm. */
  readonly absolute: number
  /** Share of the reading. */
  readonly relative: number
}

export type GasTolerances = Readonly<Record<keyof ExhaustGas, GasTolerance>>

/**
 * Largest permissible errors by accuracy class of the analyser. Source: OIML R 99 / ISO 3930, from memory, not read
 * again; nitrogen oxides are not in it: common practice, no source. All can be replaced by the analyser's own sheet.
 */
export const analyserClasses: Readonly<Record<'0' | 'I' | 'II', GasTolerances>> = Object.freeze({
  '0': {
    coPct: { absolute: 0.03, relative: 0.05 },
    co2Pct: { absolute: 0.5, relative: 0.05 },
    hcPpm: { absolute: 10, relative: 0.05 },
    o2Pct: { absolute: 0.1, relative: 0.05 },
    noxPpm: { absolute: 32, relative: 0.05 },
  },
  I: {
    coPct: { absolute: 0.06, relative: 0.05 },
    co2Pct: { absolute: 0.5, relative: 0.05 },
    hcPpm: { absolute: 12, relative: 0.05 },
    o2Pct: { absolute: 0.1, relative: 0.05 },
    noxPpm: { absolute: 32, relative: 0.05 },
  },
  II: {
    coPct: { absolute: 0.2, relative: 0.1 },
    co2Pct: { absolute: 1, relative: 0.1 },
    hcPpm: { absolute: 30, relative: 0.1 },
    o2Pct: { absolute: 0.2, relative: 0.1 },
    noxPpm: { absolute: 50, relative: 0.1 },
  },
})

export interface ExhaustGasOptions {
  /** The analyser's largest permissible errors; default class I. */
  readonly tolerances?: GasTolerances
  /** Standard uncertainty of the fuel's H/C; default 0.05, the spread of pump gasoline (common practice, no source). */
  readonly hydrogenUncertainty?: number
  /** Standard uncertainty of the fuel's O/C; default 0.005 (about 1.5 % of ethanol by volume). */
  readonly oxygenUncertainty?: number
  /**
   * Standard uncertainty of the factor hexane → carbon as a share of it; default 0.25: infrared analysers miss up to
   * half of gasoline's carbon (B. C. Singer, R. A. Harley et al., 1998). Matters with much HC only.
   */
  readonly hydrocarbonUncertainty?: number
}

export interface ExhaustGasEstimate {
  readonly lambda: number
  /** Standard uncertainty of λ: all contributions, root of the sum of squares. */
  readonly standardUncertainty: number
  /** Contribution of each gas, and of the fuel, to it. */
  readonly contributions: Readonly<Record<keyof ExhaustGas | 'fuel', number>>
}

/**
 * λ from an exhaust-gas analysis with its standard uncertainty: permissible errors count as rectangular (÷ √3), each
 * carried through by the equation's slope. NaN and errors as `lambdaFromExhaustGas`. Real leaks and misfire are not in it.
 */
export function estimateLambdaFromExhaustGas(
  gas: ExhaustGas,
  fuel: ExhaustFuel = INSPECTION_GASOLINE,
  options: ExhaustGasOptions = {},
): ExhaustGasEstimate {
  const lambda = lambdaFromExhaustGas(gas, fuel)
  const tolerances = options.tolerances ?? analyserClasses.I
  const composition = compositionOf(fuel)
  const values = {
    coPct: gas.coPct,
    co2Pct: gas.co2Pct,
    hcPpm: gas.hcPpm ?? 0,
    o2Pct: gas.o2Pct,
    noxPpm: gas.noxPpm ?? 0,
  }
  const at = (v: typeof values, c: Composition) =>
    balance(v.coPct, v.co2Pct, v.hcPpm / PPM_PER_PCT, v.o2Pct, v.noxPpm / PPM_PER_PCT, c)
  const contributions = { coPct: 0, co2Pct: 0, hcPpm: 0, o2Pct: 0, noxPpm: 0, fuel: 0 }
  let square = 0
  for (const key of ['coPct', 'co2Pct', 'hcPpm', 'o2Pct', 'noxPpm'] as const) {
    const { absolute, relative } = tolerances[key]
    const halfWidth = Math.max(absolute, relative * values[key])
    const slope = centralSlope((x) => at({ ...values, [key]: x }, composition), values[key], halfWidth / 10)
    contributions[key] = Math.abs(slope) * (halfWidth / Math.sqrt(3))
    if (key === 'hcPpm') {
      const factorError = Math.abs(slope) * values.hcPpm * (options.hydrocarbonUncertainty ?? 0.25)
      contributions.hcPpm = Math.hypot(contributions.hcPpm, factorError)
    }
    square += contributions[key] ** 2
  }
  const hydrogenSlope = centralSlope(
    (hydrogen) => at(values, { ...composition, hydrogen }),
    composition.hydrogen,
    1e-3,
  )
  const oxygenSlope = centralSlope(
    (oxygen) => at(values, { ...composition, oxygen }),
    composition.oxygen,
    1e-3,
  )
  contributions.fuel = Math.hypot(
    hydrogenSlope * (options.hydrogenUncertainty ?? 0.05),
    oxygenSlope * (options.oxygenUncertainty ?? 0.005),
  )
  square += contributions.fuel ** 2
  return { lambda, standardUncertainty: Math.sqrt(square), contributions }
}

function centralSlope(f: (x: number) => number, x: number, step: number): number {
  return (f(x + step) - f(x - step)) / (2 * step)
}
