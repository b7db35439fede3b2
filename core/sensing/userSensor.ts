import { planar42, planar49 } from './planarSensors.ts'
import {
  createSensorCurve,
  type SensorCurve,
  type SensorDefinition,
  type SensorPoint,
} from './sensorCurve.ts'

/** The built-in sensors by the name that a car's profile uses. */
export const sensors = Object.freeze({ planar49, planar42 })

/** The built-in sensor of that name. Throws `RangeError` for an unknown one. */
export function findSensor(name: string): SensorCurve {
  if (!Object.hasOwn(sensors, name)) {
    throw new RangeError(`unknown sensor: ${name} (expected ${Object.keys(sensors).join(', ')})`)
  }
  return sensors[name as keyof typeof sensors]
}

const NUMBER_KEYS = [
  ['air_current_mA', 'airCurrentMa'],
  ['diffusion_constant_mA', 'diffusionConstantMa'],
  ['nominal_resistance_ohm', 'nominalResistanceOhm'],
  ['nominal_temperature_C', 'nominalTemperatureC'],
  ['activation_K', 'activationK'],
  ['gas_limit_C', 'gasLimitC'],
  ['gas_short_limit_C', 'gasShortLimitC'],
  ['light_off_s', 'lightOffS'],
] as const

/**
 * The sensor that a car's profile or a JSON file describes: a built-in's name, or an object with `points` (pairs
 * `[mA, λ]`, or objects with `current_mA` and `lambda`) and, optionally, `name`, `generation`, `air_current_mA`,
 * `nominal_resistance_ohm`, `nominal_temperature_C`, `activation_K`, `diffusion_constant_mA`, `gas_limit_C`,
 * `gas_short_limit_C`, `light_off_s`. `undefined` gives the default sensor.
 * Throws `RangeError` that names the entry and its value for anything else.
 */
export function parseSensorCurve(entry: unknown): SensorCurve {
  if (entry === undefined || entry === null) return planar49
  if (typeof entry === 'string') return findSensor(entry)
  if (typeof entry !== 'object' || !Array.isArray((entry as { points?: unknown }).points)) {
    throw new RangeError(
      `invalid sensor: ${JSON.stringify(entry)} (expected a name or an object with points)`,
    )
  }
  const record = entry as Record<string, unknown>
  const definition: { -readonly [K in keyof SensorDefinition]: SensorDefinition[K] } = {
    name: readText(record, 'name', 'own table'),
    generation: readText(record, 'generation', 'user'),
    points: (record['points'] as unknown[]).map(readPoint),
  }
  for (const [jsonKey, key] of NUMBER_KEYS) {
    const value = record[jsonKey]
    if (value === undefined || value === null) continue
    if (typeof value !== 'number')
      throw new RangeError(`invalid ${jsonKey}: ${JSON.stringify(value)} (expected a number)`)
    definition[key] = value
  }
  return createSensorCurve(definition)
}

function readText(record: Record<string, unknown>, key: string, absent: string): string {
  const value = record[key] ?? absent
  if (typeof value !== 'string')
    throw new RangeError(`invalid ${key}: ${JSON.stringify(value)} (expected text)`)
  return value
}

function readPoint(point: unknown, index: number): SensorPoint {
  const pair = Array.isArray(point)
    ? point
    : [
        (point as Record<string, unknown> | null)?.['current_mA'],
        (point as Record<string, unknown> | null)?.['lambda'],
      ]
  const [currentMa, lambda] = pair as unknown[]
  if (pair.length !== 2 || typeof currentMa !== 'number' || typeof lambda !== 'number') {
    throw new RangeError(`invalid point ${index}: ${JSON.stringify(point)} (expected [mA, lambda])`)
  }
  return { currentMa, lambda }
}
