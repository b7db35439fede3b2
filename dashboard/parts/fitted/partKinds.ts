import type { Circuit, Part } from '../../../core/contract/car.ts'
import { circuitNames } from '../../../core/contract/car.ts'
import { partWord } from '../../../core/tuning/adviceText.ts'
import { findDrills, parseBoreMm } from '../../../core/tuning/drills.ts'
import { areaFactor } from '../../../core/tuning/jetArea.ts'
import { circuitOfPart } from '../../../core/tuning/partPaths.ts'
import { drillOf } from '../../../core/tuning/sizeWords.ts'
import { NARROW_SPACE } from '../../../core/units/format.ts'
import type { UnitId } from '../../../core/units/unitTable.ts'
import { num, turnsDecimals, turnsText } from '../../words/runWords.ts'
import { shownValue } from '../../words/units.ts'

/** What says the size of a part. */
export type PartKind = 'bore' | 'turns' | 'opens' | 'volume' | 'rod' | 'label'

/** Parts that a carburettor may have, by name, with what says their size. */
export const knownParts: Readonly<Record<string, PartKind>> = {
  choke: 'label',
  idle_screws: 'turns',
  idle_jet: 'bore',
  idle_feed_restriction: 'bore',
  idle_air_bleed: 'bore',
  main_jet: 'bore',
  rod: 'rod',
  main_air_bleed: 'bore',
  power_restriction: 'bore',
  power_valve: 'opens',
  rod_spring: 'opens',
  secondary_jet: 'bore',
  secondary_rod: 'rod',
  secondary_plate: 'bore',
  opening_spring: 'label',
  squirter: 'bore',
  pump_cam: 'volume',
  pump_stroke: 'label',
}

/** A part's name, as advice says it. */
export const partWords = partWord

/** Kind of a part: by its name, else by what the fitted one says of itself. */
export function kindOf(part: string, example?: Part): PartKind {
  const known = knownParts[part]
  if (known) return known
  if (example?.turns !== undefined) return 'turns'
  if (example?.opens_inHg !== undefined) return 'opens'
  if (example?.volume_ml !== undefined) return 'volume'
  if (example?.cruise_mm !== undefined || example?.power_mm !== undefined) return 'rod'
  return example?.bore_mm === undefined && example?.flow === undefined && example ? 'label' : 'bore'
}

export const circuitWords: Readonly<Record<Circuit | 'other', string>> = {
  choke: 'Choke',
  idle: 'Idle',
  transfer: 'Transfer',
  main: 'Main',
  power: 'Power',
  secondary: 'Secondary',
  pump: 'Accelerator pump',
  other: 'Other parts',
}

/** Part names by circuit, in the order in which circuits are set up; those of no known circuit last. */
export function byCircuit(names: readonly string[]): { circuit: Circuit | 'other'; names: string[] }[] {
  const order = ['idle', 'transfer', 'main', 'power', 'secondary', 'pump', 'choke'] satisfies Circuit[]
  const known = Object.keys(knownParts)
  const rank = (name: string) => (known.includes(name) ? known.indexOf(name) : known.length)
  return [...order, ...circuitNames.filter((name) => !order.includes(name as never)), 'other' as const]
    .map((circuit) => ({
      circuit,
      names: names
        .filter((name) => (circuitOfPart(name) ?? 'other') === circuit)
        .sort((a, b) => rank(a) - rank(b)),
    }))
    .filter((group) => group.names.length > 0)
}

const withUnit = (value: number, unit: UnitId): string => {
  const { text, unit: symbol } = shownValue(value, unit)
  return `${text}${NARROW_SPACE}${symbol}`
}

/** Bore in the owner's unit, with three decimals in mm where the second would hide a step. */
export function boreText(boreMm: number, unit: UnitId): string {
  if (unit === 'mm' && Math.abs(boreMm * 100 - Math.round(boreMm * 100)) > 1e-6)
    return `${num(boreMm, 3)}${NARROW_SPACE}mm`
  return withUnit(boreMm, unit)
}

/** `drill 49 goes in`; empty beyond the table. */
export function drillText(boreMm: number): string {
  const { goes } = findDrills(boreMm)
  return goes ? `drill ${goes.name} goes in` : ''
}

/** The size of a part in words, besides its label; empty when only a label is known. */
export function measureText(part: Part | undefined, boreUnit: UnitId): string {
  if (!part) return ''
  const words: string[] = []
  if (part.bore_mm !== undefined) words.push(boreText(part.bore_mm, boreUnit))
  if (part.flow !== undefined) words.push(`flow ${num(part.flow, Number.isInteger(part.flow) ? 0 : 1)}`)
  if (part.turns !== undefined) words.push(`${turnsText(part.turns)} turns out`)
  if (part.opens_inHg !== undefined) words.push(`opens at ${num(part.opens_inHg, 1)}${NARROW_SPACE}inHg`)
  if (part.volume_ml !== undefined) words.push(`${num(part.volume_ml, 2)}${NARROW_SPACE}ml a stroke`)
  if (part.cruise_mm !== undefined) words.push(`cruise ${boreText(part.cruise_mm, boreUnit)}`)
  if (part.power_mm !== undefined) words.push(`power ${boreText(part.power_mm, boreUnit)}`)
  if (part.count !== undefined && part.count > 1) words.push(`${part.count} of them`)
  return words.join(', ')
}

/** `5 % larger opening` of a bore against the one fitted now; empty where neither can be told. */
export function againstText(from: Part | undefined, to: Part): string {
  const factor =
    from?.bore_mm !== undefined && to.bore_mm !== undefined
      ? areaFactor({ boreMm: from.bore_mm }, { boreMm: to.bore_mm })
      : (to.flow ?? Number.NaN) / (from?.flow ?? Number.NaN)
  if (Number.isNaN(factor)) return ''
  const percent = 100 * (factor - 1)
  if (Math.abs(percent) < 0.05) return 'same opening'
  return `${num(Math.abs(percent), Math.abs(percent) < 10 ? 1 : 0)}${NARROW_SPACE}% ${percent > 0 ? 'larger' : 'smaller'} opening`
}

/** What the owner typed of a new size, by the kind of the part. */
export interface SizeForm {
  label: string
  size: string
  second: string
}

/** Words beside the two size fields of a kind; no word, no field. */
export const sizeFields: Readonly<Record<PartKind, { size: string; hint: string; second?: string }>> = {
  bore: {
    size: 'Bore or flow',
    hint: 'such as 1.85 mm, 0.073 in, 73 thou or #49; a flow figure as flow 310, or both',
  },
  turns: { size: 'Turns out', hint: 'from lightly seated, such as 1.5' },
  opens: { size: 'Opens at, inHg of vacuum', hint: 'such as 6.5' },
  volume: { size: 'Volume a stroke, ml', hint: 'such as 1.2; may be left empty' },
  rod: { size: 'Diameter at the cruise step', hint: 'such as 1.60 mm', second: 'Diameter at the power step' },
  label: { size: '', hint: '' },
}

/** Bore and flow of a text: `1.85 mm, flow 310` gives both, either may be left out. @throws RangeError for a flow that is none */
function readFlow(size: string): [bore: string, flow: number | undefined] {
  const found = /[,;]?\s*\bflow\b\s*(\S*)\s*$/i.exec(size)
  if (!found) return [size, undefined]
  const flow = Number(found[1].replace(',', '.'))
  if (!(flow > 0 && Number.isFinite(flow)))
    throw new RangeError(`flow: expected a number above 0, found "${found[1]}"`)
  return [size.slice(0, found.index).trim(), flow]
}

/**
 * A part from what was typed. A number without a unit is millimetres for a bore, never a maker's code.
 * @throws RangeError in words for a person
 */
export function readSize(kind: PartKind, { label, size, second }: SizeForm): Part {
  const named = label.trim()
  const number = (text: string, what: string, most: number): number => {
    const value = Number(text.trim().replace(',', '.'))
    if (text.trim() === '' || !(value >= 0 && value <= most))
      throw new RangeError(`${what}: expected a number from 0 to ${most}, found "${text.trim()}"`)
    return value
  }
  switch (kind) {
    case 'bore': {
      const [bore, flow] = readFlow(size)
      if (bore === '') return { label: named || size.trim(), flow: flow! }
      const boreMm = Number(parseBoreMm(bore).toFixed(4))
      // The sentences of advice then speak of drills, as the owner does.
      const drill = drillOf({ label: '', bore })
      return {
        label: named || size.trim(),
        bore_mm: boreMm,
        ...(drill ? { drill } : {}),
        ...(flow === undefined ? {} : { flow }),
      }
    }
    case 'turns': {
      const turns = number(size, 'turns', 20)
      return { label: named || turns.toFixed(turnsDecimals(turns)), turns }
    }
    case 'opens': {
      const opens = number(size, 'opening vacuum', 25)
      return { label: named || String(opens), opens_inHg: opens }
    }
    case 'volume':
      if (named === '') throw new RangeError('give it a label, such as A')
      return size.trim() === '' ? { label: named } : { label: named, volume_ml: number(size, 'volume', 20) }
    case 'rod': {
      if (named === '') throw new RangeError('give the rod a label')
      return {
        label: named,
        cruise_mm: Number(parseBoreMm(size).toFixed(4)),
        ...(second.trim() === '' ? {} : { power_mm: Number(parseBoreMm(second).toFixed(4)) }),
      }
    }
    case 'label':
      if (named === '') throw new RangeError('give it a label, such as plain')
      return { label: named }
  }
}
