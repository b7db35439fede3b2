import { ZERO_CELSIUS_K } from '../air/standardAtmosphere.ts'
import { solveLeastSquares } from '../numeric/linearSystem.ts'
import {
  type BetaModel,
  checkThermistorPoint,
  type SteinhartHart,
  type ThermistorModel,
  type ThermistorPoint,
  thermistorTemperatureC,
} from './thermistor.ts'

export interface ThermistorFit<Model extends ThermistorModel> {
  readonly model: Model
  /** Fitted minus measured temperature, K, for each point in the order given. */
  readonly errorsK: readonly number[]
  /** Largest of them without sign. */
  readonly largestErrorK: number
  /** False if temperature does not change in one sense with resistance over the points' span: do not use the fit. */
  readonly isMonotone: boolean
}

/**
 * Steinhart–Hart coefficients from three or more measured points: exact through three, least squares in 1/T, weighted
 * so that equal errors in K count equally, through more. Throws `RangeError` for fewer than three, impossible or
 * repeated points.
 */
export function fitSteinhartHart(points: readonly ThermistorPoint[]): ThermistorFit<SteinhartHart> {
  if (points.length < 3) throw new RangeError(`too few points: ${points.length} (expected 3 or more)`)
  for (const point of points) checkThermistorPoint(point)
  const logs = points.map(({ resistanceOhm }) => Math.log(resistanceOhm))
  const rows = logs.map((x, i) => {
    const weight = (points[i].temperatureC + ZERO_CELSIUS_K) ** 2
    return [weight, weight * x, weight * x ** 3]
  })
  const [a, b, c] = solveLeastSquares(
    rows,
    points.map(({ temperatureC }) => temperatureC + ZERO_CELSIUS_K),
  )
  return judgeFit({ a, b, c }, points)
}

/** β model through two points, or least squares through more, referred to the first. Throws as `fitSteinhartHart`. */
export function fitBeta(points: readonly ThermistorPoint[]): ThermistorFit<BetaModel> {
  if (points.length < 2) throw new RangeError(`too few points: ${points.length} (expected 2 or more)`)
  for (const point of points) checkThermistorPoint(point)
  const r0Ohm = points[0].resistanceOhm
  const [inverse0K, perBeta] = solveLeastSquares(
    points.map(({ resistanceOhm }) => [1, Math.log(resistanceOhm / r0Ohm)]),
    points.map(({ temperatureC }) => 1 / (temperatureC + ZERO_CELSIUS_K)),
  )
  return judgeFit({ beta: 1 / perBeta, r0Ohm, t0C: 1 / inverse0K - ZERO_CELSIUS_K }, points)
}

/** Errors of any thermistor model against points. */
export function judgeFit<Model extends ThermistorModel>(
  model: Model,
  points: readonly ThermistorPoint[],
): ThermistorFit<Model> {
  const errorsK = points.map(
    ({ resistanceOhm, temperatureC }) => thermistorTemperatureC(resistanceOhm, model) - temperatureC,
  )
  const largestErrorK = Math.max(...errorsK.map(Math.abs))
  return { model, errorsK, largestErrorK, isMonotone: isMonotoneOver(model, points) }
}

// Chosen here: steps over the points' span when looking for a turn of the curve.
const MONOTONE_STEPS = 200

function isMonotoneOver(model: ThermistorModel, points: readonly ThermistorPoint[]): boolean {
  const logs = points.map(({ resistanceOhm }) => Math.log(resistanceOhm))
  const least = Math.min(...logs)
  const most = Math.max(...logs)
  const at = (step: number): number =>
    thermistorTemperatureC(Math.exp(least + ((most - least) * step) / MONOTONE_STEPS), model)
  const sense = Math.sign(at(MONOTONE_STEPS / 2) - at(1))
  // The very ends are left out: a table does not reach beyond them by a rounding.
  for (let step = 2; step < MONOTONE_STEPS; step++) {
    if (!(Math.sign(at(step) - at(step - 1)) === sense)) return false
  }
  return true
}
