import type { Fitted, Part } from '../core/contract/car.ts'
import { driveNames } from './drives.ts'
import {
  checkParameter,
  nearNames,
  type ParameterChanges,
  type ParameterKey,
  parameterKeys,
  parameterTable,
} from './parameters.ts'
import type { SimulateOptions } from './runOptions.ts'
import type { SimCar } from './simCar.ts'

/** Keys that are no figure of the parameter table. */
export const otherKeys: Readonly<Record<string, string>> = Object.freeze({
  setup: 'named set-up of the car (`right`, `lean_main`, …)',
  rate_hz: 'samples a second, 20 … 500',
  channels: 'a set (`usual`, `all`, `lambda_only`, …) or channel names joined by +',
  units: '`metric`, or `other` (inHg, F, psi, mph)',
  gps: '1: a position receiver as second source',
  at: 'start of the run, ISO 8601 with offset',
  'air.altitude_m': 'sets pressure and temperature of the standard atmosphere',
})

/** What `--set` can change beside `fitted.…`. */
export const setKeys: readonly string[] = [...Object.keys(otherKeys), ...parameterKeys]

function number(key: string, text: string): number {
  const value = Number(text)
  if (text.trim() === '' || !Number.isFinite(value)) {
    throw new RangeError(`invalid ${key}: ${text} (expected a number)`)
  }
  return value
}

/**
 * A part by its label in the car's box, or by its size: bore in mm, turns of a screw, opening vacuum of a valve.
 * @throws RangeError naming what the box has
 */
export function partFromText(car: SimCar, name: string, text: string): Part {
  const right = car.right[name]
  const box = car.box[name] ?? []
  if (!right) {
    const names = Object.keys(car.right)
    throw new RangeError(`unknown part: fitted.${name} (${car.name} has ${names.join(', ')})`)
  }
  const found = box.find((part) => part.label === text)
  if (found) return found
  const size = Number(text)
  const field = (['bore_mm', 'turns', 'opens_inHg', 'volume_ml', 'stiffness', 'notch'] as const).find(
    (candidate) => typeof right[candidate] === 'number',
  )
  if (!field || text.trim() === '' || !Number.isFinite(size)) {
    throw new RangeError(
      `invalid fitted.${name}: ${text} (expected a label of ${box.map((part) => part.label).join(', ')}${field ? `, or ${field}` : ''})`,
    )
  }
  return { label: text, [field]: size }
}

/** Standard atmosphere at a height: pressure kPa and temperature °C. */
function atAltitude(metres: number): ParameterChanges {
  return {
    'air.pressure_kPa': 101.325 * (1 - 2.25577e-5 * metres) ** 5.25588,
    'air.temperature_C': 15 - 0.0065 * metres,
  }
}

/**
 * Turns `key=value` texts into options.
 * @throws RangeError for an unknown key (with near names), a value out of range, an unknown part
 */
export function parseSettings(car: SimCar, settings: readonly string[]): Partial<SimulateOptions> {
  const parameters: ParameterChanges = {}
  const fitted: Fitted = {}
  const out: Partial<SimulateOptions> = { parameters, fitted }
  for (const setting of settings) {
    const equals = setting.indexOf('=')
    if (equals < 1) throw new RangeError(`invalid setting: ${setting} (expected key=value)`)
    const key = setting.slice(0, equals).trim()
    const text = setting.slice(equals + 1).trim()
    if (key in parameterTable) {
      parameters[key as ParameterKey] = checkParameter(key as ParameterKey, number(key, text))
    } else if (key.startsWith('fitted.')) {
      const name = key.slice('fitted.'.length)
      fitted[name] = partFromText(car, name, text)
    } else if (key === 'setup') out.setup = text
    else if (key === 'rate_hz') out.rateHz = number(key, text)
    else if (key === 'channels') out.channels = text.includes('+') ? text.split('+') : text
    else if (key === 'units') {
      if (text !== 'metric' && text !== 'other')
        throw new RangeError(`invalid units: ${text} (expected metric or other)`)
      out.units = text
    } else if (key === 'gps') out.gps = number(key, text) > 0
    else if (key === 'at') out.at = text
    else if (key === 'air.altitude_m') Object.assign(parameters, atAltitude(number(key, text)))
    else {
      const near = nearNames(key, [...setKeys, ...Object.keys(car.right).map((name) => `fitted.${name}`)])
      throw new RangeError(
        `unknown setting: ${key}${near.length > 0 ? ` (did you mean ${near.join(', ')}?)` : ''}`,
      )
    }
  }
  return out
}

/** True if a text names one of the built-in drives. */
export function isDriveName(text: string): boolean {
  return (driveNames as readonly string[]).includes(text)
}
