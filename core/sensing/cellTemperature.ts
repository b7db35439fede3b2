import { ZERO_CELSIUS_K } from '../air/standardAtmosphere.ts'
import { checkNumber, checkObject } from '../numeric/checkKind.ts'
import { planar49 } from './planarSensors.ts'
import type { SensorCurve } from './sensorCurve.ts'

/**
 * Temperature of the sensor's ceramic, °C, from its cell resistance, Ω: 1/T = 1/T₀ + ln(R/R₀)/B through the nominal
 * point. Exact there; elsewhere an estimate, since only the nominal point and the falling sense are published. B is the
 * sensor's `activationK`. NaN for NaN and for a resistance that is not positive or gives no temperature. What is no
 * number, or no sensor, throws `RangeError`.
 */
export function cellTemperatureC(resistanceOhm: number, sensor: SensorCurve = planar49): number {
  checkNumber('resistanceOhm', resistanceOhm)
  checkObject('sensor', sensor, 'a curve object')
  if (!(resistanceOhm > 0 && resistanceOhm < Infinity)) return NaN
  if (resistanceOhm === sensor.nominalResistanceOhm) return sensor.nominalTemperatureC
  const inverseK =
    1 / (sensor.nominalTemperatureC + ZERO_CELSIUS_K) +
    Math.log(resistanceOhm / sensor.nominalResistanceOhm) / sensor.activationK
  return inverseK > 0 ? 1 / inverseK - ZERO_CELSIUS_K : NaN
}

/** Cell resistance, Ω, at a ceramic temperature, °C: the inverse. NaN for NaN and at or below absolute zero. */
export function cellResistanceOhm(temperatureC: number, sensor: SensorCurve = planar49): number {
  const kelvin = temperatureC + ZERO_CELSIUS_K
  if (!(kelvin > 0)) return NaN
  const nominalK = sensor.nominalTemperatureC + ZERO_CELSIUS_K
  return sensor.nominalResistanceOhm * Math.exp(sensor.activationK * (1 / kelvin - 1 / nominalK))
}
