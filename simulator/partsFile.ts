import type { PartsFile } from '../core/contract/car.ts'
import { cars } from './cars.ts'
import { channelSets } from './channels.ts'
import { driveNames } from './drives.ts'
import { parameterKeys, parameterTable } from './parameters.ts'
import { resolveRun, type SimulateOptions } from './runOptions.ts'
import { otherKeys } from './setKeys.ts'

/** What is fitted in a run, and the owner's box: the file that `advise --box` reads. */
export function partsFile(options: SimulateOptions): PartsFile {
  return { fitted: resolveRun(options).fitted, box: options.car.box }
}

/** Cars, set-ups, parts, drives, channel sets and keys as text. */
export function describeEverything(): string {
  const lines: string[] = []
  for (const car of cars) {
    lines.push(`${car.name}: ${car.profile.description}`)
    for (const [name, setup] of Object.entries(car.setups))
      lines.push(`  setup=${name.padEnd(18)} ${setup.text}`)
    for (const [name, part] of Object.entries(car.right)) {
      const labels = (car.box[name] ?? []).map((item) => item.label).join(' ')
      lines.push(`  fitted.${name.padEnd(18)} ${part.label} (box: ${labels})`)
    }
  }
  lines.push('random:<number>: an invented car made from that number', '')
  lines.push(`drives: ${driveNames.join(' ')}`)
  lines.push(`channel sets: ${Object.keys(channelSets).join(' ')}`, '')
  for (const [key, text] of Object.entries(otherKeys)) lines.push(`${key.padEnd(34)} ${text}`)
  for (const key of parameterKeys) {
    const { value, low, high, unit, text } = parameterTable[key]
    const range = `${Number.isNaN(value) ? '–' : value} [${low} … ${high}]${unit ? ` ${unit}` : ''}`
    lines.push(`${key.padEnd(34)} ${range.padEnd(34)} ${text}`)
  }
  return lines.join('\n')
}
