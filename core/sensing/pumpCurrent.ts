import { checkNumber, checkObject } from '../numeric/checkKind.ts'
import { curveInverse, curveSlope, curveValue, type NumberColumn } from '../numeric/monotoneCurve.ts'
import { planar49 } from './planarSensors.ts'
import type { SensorCurve } from './sensorCurve.ts'

/**
 * λ of a pump current, mA: monotone, smooth, exact at the sensor's points. NaN for NaN and outside the points: there is
 * no extrapolation; `explainPumpCurrent` says why. What is no number, or no sensor, throws `RangeError`.
 */
export function lambdaFromPumpCurrent(currentMa: number, sensor: SensorCurve = planar49): number {
  checkNumber('currentMa', currentMa)
  checkSensor(sensor)
  return 1 / curveValue(sensor.inverseLambda, currentMa)
}

function checkSensor(sensor: SensorCurve): void {
  checkObject('sensor', sensor, 'a curve object')
  checkObject('sensor', sensor.inverseLambda, 'a curve object')
}

/** Pump current, mA, of a λ: the exact inverse. NaN for NaN and outside the sensor's points; errors as `lambdaFromPumpCurrent`. */
export function pumpCurrentFromLambda(lambda: number, sensor: SensorCurve = planar49): number {
  checkNumber('lambda', lambda)
  checkSensor(sensor)
  return curveInverse(sensor.inverseLambda, 1 / lambda)
}

/** dλ/dI in 1/mA at a pump current. NaN for NaN and outside the sensor's points. */
export function lambdaSlopePerMa(currentMa: number, sensor: SensorCurve = planar49): number {
  const phi = curveValue(sensor.inverseLambda, currentMa)
  return -curveSlope(sensor.inverseLambda, currentMa) / (phi * phi)
}

/**
 * λ of a column of pump currents, mA, each first divided by `gain` (free-air correction). Writes the first
 * `currentMa.length` entries of `target` and returns it; NaN as `lambdaFromPumpCurrent`. No allocation; `target` may be
 * the same column.
 */
export function lambdaFromPumpCurrentInto<T extends NumberColumn>(
  target: T,
  currentMa: NumberColumn,
  sensor: SensorCurve = planar49,
  gain = 1,
): T {
  const curve = sensor.inverseLambda
  const perGain = 1 / gain
  const count = currentMa.length
  for (let i = 0; i < count; i++) target[i] = 1 / curveValue(curve, currentMa[i] * perGain)
  return target
}

/** Why a pump current has, or has not, a λ. */
export type PumpCurrentVerdict = 'ok' | 'beyond_rich' | 'beyond_lean' | 'air' | 'no_reading'

/** How near to the nominal current in air a reading counts as air: humidity, pressure and spread, share of it. */
const AIR_BAND = 0.08

/**
 * What a pump current, mA, means for the sensor: `ok` inside the points; `air` beyond the lean end and within 8 % of
 * the nominal current in air (common practice, no source); `beyond_rich`, `beyond_lean`; `no_reading` for NaN.
 */
export function explainPumpCurrent(currentMa: number, sensor: SensorCurve = planar49): PumpCurrentVerdict {
  if (Number.isNaN(currentMa)) return 'no_reading'
  const knots = sensor.inverseLambda.x
  if (currentMa < knots[0]) return 'beyond_rich'
  if (currentMa <= knots[knots.length - 1]) return 'ok'
  return Math.abs(currentMa - sensor.airCurrentMa) <= AIR_BAND * sensor.airCurrentMa ? 'air' : 'beyond_lean'
}
