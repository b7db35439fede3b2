import { ZERO_CELSIUS_K } from '../air/standardAtmosphere.ts'
import { checkNumber, checkObject, showValue } from '../numeric/checkKind.ts'
import {
  createMonotoneCurve,
  curveInverse,
  curveValue,
  type MonotoneCurve,
} from '../numeric/monotoneCurve.ts'

/** 1/T = a + b ln R + c (ln R)³, T in K, R in Ω (J. S. Steinhart, S. R. Hart, Deep-Sea Research 15, 1968). */
export interface SteinhartHart {
  readonly a: number
  readonly b: number
  readonly c: number
}

/** 1/T = 1/T₀ + ln(R/R₀)/β: a line, some degrees off far from its two points. */
export interface BetaModel {
  /** β, K. */
  readonly beta: number
  readonly r0Ohm: number
  readonly t0C: number
}

/** A table prepared by `createThermistorTable`: 1/T over ln R. */
export interface ThermistorTable {
  readonly inverseKelvin: MonotoneCurve
}

export type ThermistorModel = SteinhartHart | BetaModel | ThermistorTable

/** One measured or published pair. */
export interface ThermistorPoint {
  readonly resistanceOhm: number
  readonly temperatureC: number
}

/**
 * Prepares a published table, at least two points in any order: smooth and exact at the points. Throws `RangeError` for
 * repeated points, resistance not positive, or resistance that does not change in one sense with temperature.
 */
export function createThermistorTable(points: readonly ThermistorPoint[]): ThermistorTable {
  for (const point of points) checkThermistorPoint(point)
  const sorted = [...points].sort((p, q) => p.resistanceOhm - q.resistanceOhm)
  const inverseKelvin = createMonotoneCurve(
    sorted.map(({ resistanceOhm }) => Math.log(resistanceOhm)),
    sorted.map(({ temperatureC }) => 1 / (temperatureC + ZERO_CELSIUS_K)),
  )
  return Object.freeze({ inverseKelvin })
}

/** Throws `RangeError` with the value for a resistance not above 0 or a temperature no sender lives at. */
export function checkThermistorPoint({ resistanceOhm, temperatureC }: ThermistorPoint): void {
  if (!(resistanceOhm > 0 && resistanceOhm < Infinity)) {
    throw new RangeError(`invalid resistanceOhm: ${resistanceOhm} (expected above 0)`)
  }
  if (!(temperatureC > -100 && temperatureC < 1000)) {
    throw new RangeError(`invalid temperatureC: ${temperatureC} (expected -100 to 1000)`)
  }
}

/**
 * Temperature, °C, of a thermistor from its resistance, Ω. NaN for NaN, a resistance not above 0, one outside a table,
 * and where the model gives no temperature above absolute zero. A resistance or coefficient that is no finite number throws `RangeError`.
 */
export function thermistorTemperatureC(resistanceOhm: number, model: ThermistorModel): number {
  checkNumber('resistanceOhm', resistanceOhm)
  checkObject('model', model, '{a, b, c}, {beta, r0Ohm, t0C} or a table')
  if (!(resistanceOhm > 0 && resistanceOhm < Infinity)) return NaN
  const inverseK = inverseKelvinAt(resistanceOhm, model)
  if (!(inverseK > 0 && inverseK < Infinity)) checkModel(model)
  return inverseK > 0 ? 1 / inverseK - ZERO_CELSIUS_K : NaN
}

/** Throws `RangeError` for coefficients with which no resistance gives a temperature. */
function checkModel(model: ThermistorModel): void {
  if ('inverseKelvin' in model) return
  const named: readonly (readonly [string, unknown])[] =
    'beta' in model
      ? [
          ['beta', model.beta === 0 ? Number.NaN : model.beta],
          ['r0Ohm', model.r0Ohm > 0 ? model.r0Ohm : Number.NaN],
          ['t0C', model.t0C],
        ]
      : [
          ['a', model.a],
          ['b', model.b],
          ['c', model.c],
        ]
  for (const [name, value] of named) {
    if (Number.isFinite(value)) continue
    const given = (model as unknown as Record<string, unknown>)[name]
    throw new RangeError(`invalid ${name}: ${showValue(given)} (expected a coefficient of a thermistor)`)
  }
}

function inverseKelvinAt(resistanceOhm: number, model: ThermistorModel): number {
  const logOhm = Math.log(resistanceOhm)
  if ('beta' in model) {
    return 1 / (model.t0C + ZERO_CELSIUS_K) + Math.log(resistanceOhm / model.r0Ohm) / model.beta
  }
  if ('inverseKelvin' in model) {
    // A table's own end points survive the rounding of the logarithm.
    const knots = model.inverseKelvin.x
    const slack = 1e-12 * Math.abs(logOhm)
    const inside =
      logOhm < knots[0] && logOhm >= knots[0] - slack
        ? knots[0]
        : logOhm > knots[knots.length - 1] && logOhm <= knots[knots.length - 1] + slack
          ? knots[knots.length - 1]
          : logOhm
    return curveValue(model.inverseKelvin, inside)
  }
  return model.a + logOhm * (model.b + model.c * logOhm * logOhm)
}

/**
 * Resistance, Ω, at a temperature, °C: the inverse. NaN for NaN, at or below absolute zero, outside a table, and where
 * a Steinhart–Hart model has no single answer.
 */
export function thermistorResistanceOhm(temperatureC: number, model: ThermistorModel): number {
  const kelvin = temperatureC + ZERO_CELSIUS_K
  if (!(kelvin > 0)) return NaN
  if ('beta' in model)
    return model.r0Ohm * Math.exp(model.beta * (1 / kelvin - 1 / (model.t0C + ZERO_CELSIUS_K)))
  if ('inverseKelvin' in model) return Math.exp(curveInverse(model.inverseKelvin, 1 / kelvin))
  return Math.exp(solveLogResistance(model, 1 / kelvin))
}

/** Real root of c x³ + b x + a = 1/T; unique where b and c have one sign (or one is 0). */
function solveLogResistance({ a, b, c }: SteinhartHart, inverseK: number): number {
  if (c === 0) return b === 0 ? NaN : (inverseK - a) / b
  if (b * c < 0) return NaN
  const p = b / c
  const q = (a - inverseK) / c
  const root = Math.sqrt((q / 2) ** 2 + (p / 3) ** 3)
  // The larger of the two cube roots, then the other from their product: no cancellation.
  const large = Math.cbrt(q > 0 ? -q / 2 - root : -q / 2 + root)
  return large === 0 ? 0 : large - p / (3 * large)
}
