import { checkPositive } from '../numeric/checkRange.ts'
import { createMonotoneCurve, type MonotoneCurve } from '../numeric/monotoneCurve.ts'

/** One point of a sensor's characteristic. */
export interface SensorPoint {
  readonly currentMa: number
  readonly lambda: number
}

/** Allowed error of a new sensor at one λ, ± in λ. */
export interface SensorAccuracy {
  readonly lambda: number
  readonly halfWidth: number
}

/** What is known of a wideband sensor. Times in s, temperatures in °C; everything but name and points has a default. */
export interface SensorDefinition {
  readonly name: string
  /** `4.9`, `4.2`, or the owner's word. */
  readonly generation?: string
  /** Characteristic in any order: at least two points, λ rising with current. */
  readonly points: readonly SensorPoint[]
  /** Pump current in dry ambient air, mA; no free-air check without it. */
  readonly airCurrentMa?: number
  /** Constant of the lean law I = k ln(1/(1 − x)), x the oxygen share, mA; only for the humidity of a free-air check. */
  readonly diffusionConstantMa?: number
  /** Cell resistance at the working point, Ω, and the ceramic's temperature there, °C. */
  readonly nominalResistanceOhm?: number
  readonly nominalTemperatureC?: number
  /** Activation temperature of the cell's resistance, K: see `cellTemperatureC`. */
  readonly activationK?: number
  /** Hottest exhaust gas that the sensor stands for long, and for a short time, °C. */
  readonly gasLimitC?: number
  readonly gasShortLimitC?: number
  /** Longest normal time from heater on to ready, s. */
  readonly lightOffS?: number
  /** Allowed supply, V. */
  readonly supplyV?: readonly [number, number]
  readonly accuracy?: readonly SensorAccuracy[]
}

/** A sensor with its characteristic prepared for fast use. Make one with `createSensorCurve` or `parseSensorCurve`. */
export interface SensorCurve extends Required<Omit<SensorDefinition, 'points' | 'accuracy'>> {
  /** Points by rising current. */
  readonly points: readonly SensorPoint[]
  /** λ at zero current; NaN if the points do not span it. */
  readonly lambdaAtZero: number
  /** By rising λ. */
  readonly accuracy: readonly SensorAccuracy[]
  /** 1/λ over current, mA. On the lean side 1/λ is nearly linear in the oxygen share and reaches 0 in air. */
  readonly inverseLambda: MonotoneCurve
}

/**
 * Defaults of what a user's table leaves out. Activation: 1 eV / k_B, the middle of 0.8 to 1.1 eV of stabilised
 * zirconia (handbook value, no published curve of these sensors could be read). Accuracy: the data sheets of both
 * planar generations. Limits: those of the 4.9 generation.
 */
export const defaultSensorData = Object.freeze({
  generation: 'user',
  airCurrentMa: NaN,
  diffusionConstantMa: NaN,
  nominalResistanceOhm: 300,
  nominalTemperatureC: 780,
  activationK: 11604.5,
  gasLimitC: 930,
  gasShortLimitC: 1030,
  lightOffS: 10,
  supplyV: Object.freeze([10.8, 16.5]) as readonly [number, number],
  accuracy: Object.freeze([
    { lambda: 0.8, halfWidth: 0.01 },
    { lambda: 1.016, halfWidth: 0.007 },
    { lambda: 1.7, halfWidth: 0.05 },
  ]) as readonly SensorAccuracy[],
})

// Chosen here: what no wideband characteristic exceeds; catches swapped columns and A in place of mA.
const MOST_CURRENT_MA = 20
const LEAST_LAMBDA = 0.3

/**
 * Prepares a sensor. Throws `RangeError` with the value for fewer than two points, points that repeat or fall,
 * currents beyond ±20 mA, λ below 0.3, and limits that are not positive.
 */
export function createSensorCurve(definition: SensorDefinition): SensorCurve {
  const points = [...definition.points].sort((a, b) => a.currentMa - b.currentMa)
  for (const { currentMa, lambda } of points) {
    if (!(Math.abs(currentMa) <= MOST_CURRENT_MA)) {
      throw new RangeError(
        `invalid currentMa: ${currentMa} (expected -${MOST_CURRENT_MA} to ${MOST_CURRENT_MA} mA)`,
      )
    }
    if (!(lambda >= LEAST_LAMBDA && lambda < Infinity)) {
      throw new RangeError(`invalid lambda: ${lambda} at ${currentMa} mA (expected ${LEAST_LAMBDA} or more)`)
    }
  }
  for (let i = 1; i < points.length; i++) {
    if (points[i].currentMa === points[i - 1].currentMa || points[i].lambda <= points[i - 1].lambda) {
      throw new RangeError(
        `invalid point: lambda ${points[i].lambda} at ${points[i].currentMa} mA (expected lambda to rise with current)`,
      )
    }
  }
  const data = withDefaults(definition)
  const inverseLambda = createMonotoneCurve(
    points.map(({ currentMa }) => currentMa),
    points.map(({ lambda }) => 1 / lambda),
  )
  const zero = points.find(({ currentMa }) => currentMa === 0)
  return Object.freeze({
    ...data,
    points: Object.freeze(points),
    lambdaAtZero: zero ? zero.lambda : NaN,
    inverseLambda,
  })
}

function withDefaults(definition: SensorDefinition): Required<Omit<SensorDefinition, 'points'>> {
  const given = Object.fromEntries(Object.entries(definition).filter(([, value]) => value !== undefined))
  const { points: _points, ...data } = { ...defaultSensorData, ...given } as Required<SensorDefinition>
  for (const key of [
    'nominalResistanceOhm',
    'activationK',
    'gasLimitC',
    'gasShortLimitC',
    'lightOffS',
  ] as const) {
    checkPositive(key, data[key])
  }
  if (!Number.isNaN(data.airCurrentMa)) checkPositive('airCurrentMa', data.airCurrentMa)
  if (!Number.isNaN(data.diffusionConstantMa)) checkPositive('diffusionConstantMa', data.diffusionConstantMa)
  if (!(data.nominalTemperatureC > 300 && data.nominalTemperatureC < 1200)) {
    throw new RangeError(`invalid nominalTemperatureC: ${data.nominalTemperatureC} (expected 300 to 1200)`)
  }
  if (!(data.supplyV[0] > 0 && data.supplyV[1] > data.supplyV[0])) {
    throw new RangeError(`invalid supplyV: ${data.supplyV.join(' to ')} (expected two rising voltages)`)
  }
  const accuracy = [...data.accuracy].sort((a, b) => a.lambda - b.lambda)
  for (const { halfWidth } of accuracy) checkPositive('halfWidth', halfWidth)
  return { ...data, accuracy: Object.freeze(accuracy) }
}
