import type { CarProfile, Part } from '../contract/car.ts'
import { fromCanonical } from '../units/convert.ts'
import { formatNumber } from '../units/format.ts'
import { parseUnitChoice } from '../units/unitChoice.ts'
import { findUnit, isUnitId } from '../units/unitTable.ts'
import { drillDiameterMm, findDrills, parseBoreMm } from './drills.ts'
import { hasReckonedBore } from './flowFigures.ts'
import { sizedPart } from './partSize.ts'

/** Units in which sentences give a bore. */
export type BoreUnit = 'mm' | 'in' | 'thou'
/** How one size is written: in a unit, or by the drill that just fits. */
type Way = BoreUnit | 'drill'

/** A noted drill and a noted size in mm that differ by more than this are not one bore; the size in mm wins. mm, half the least step of the table of drills. */
const SAME_BORE_MM = 0.01

/**
 * The unit for bores of that name; undefined without a name: each size is then written as it was noted. Throws `RangeError` for a name that is
 * no unit of bores.
 */
export function boreUnitOf(name: string | undefined): BoreUnit | undefined {
  if (name === undefined) return undefined
  if (!isUnitId(name) || findUnit(name).quantity !== 'bore')
    throw new RangeError(`invalid boreUnit: ${name} (expected mm, in or thou)`)
  return name as BoreUnit
}

/** The unit for bores of a car's profile; one that is none of bores is passed over. */
export const profileBoreUnit = (car: CarProfile | undefined): BoreUnit | undefined =>
  boreUnitOf(parseUnitChoice(car?.units ?? {}).choice.bore)

/**
 * A part's size in words: `71 (1.85 mm)`, `71 (drill 49)`, `1.5 turns`, of a metering rod `B (1.20 mm at cruise, 0.60 mm at power)`. A bore noted by
 * its drill keeps it; any other is given in `unit`, or without one as it was noted. A label that says the size stands alone.
 */
export function sizeWord(part: Part, unit?: BoreUnit): string {
  return sizeIn(part, wayOf(part, unit))
}

/** Two sizes of a part in one way of writing: `71 (1.85 mm) → 69 (1.80 mm)`, `1.5 → 1.75 turns`. */
export function sizesWord(from: Part, to: Part, unit?: BoreUnit): string {
  if (from.turns !== undefined && to.turns !== undefined)
    return `${turnsWord(from.turns)} → ${turnsWord(to.turns)} turns`
  const [a, b] = [wayOf(from, unit), wayOf(to, unit)]
  const way = a === b ? a : (unit ?? 'mm')
  return `${sizeIn(from, way)} → ${sizeIn(to, way)}`
}

/** A bore that nobody noted, beside the size of a part that somebody did: `1.82 mm`, to an owner who measures by drills `1.82 mm (drill 50 goes in, 49 does not)`. */
export function boreBesideWord(boreMm: number, beside: Part, unit?: BoreUnit): string {
  const way = wayOf(beside, unit)
  if (way !== 'drill') return lengthWord(boreMm, way)
  const { goes, stops } = findDrills(boreMm)
  const drills = goes && stops ? ` (drill ${goes.name} goes in, ${stops.name} does not)` : ''
  return `${lengthWord(boreMm, unit ?? 'mm')}${drills}`
}

/** How a part is to be written. */
function wayOf(part: Part, unit: BoreUnit | undefined): Way {
  return drillOf(part) === undefined ? (unit ?? notedUnit(part)) : 'drill'
}

const DRILL_TEXT = /^(?:#|drill)\s*([0-9]{1,2}|[a-z])$/i

/** The drill that a part is noted by, undefined for one noted otherwise. */
export function drillOf(part: Part): string | undefined {
  const noted = part.drill ?? DRILL_TEXT.exec(String(part.bore ?? '').trim())?.[1]
  if (typeof noted !== 'string' && typeof noted !== 'number') return undefined
  const name = String(noted).trim().replace(/^#\s*/, '').toUpperCase()
  try {
    const mm = drillDiameterMm(name)
    return Math.abs(mm - (part.bore_mm ?? mm)) <= SAME_BORE_MM ? name : undefined
  } catch {
    // A drill that the table does not hold is told where the parts are read.
    return undefined
  }
}

/** The unit that a part's sizes were noted in. */
function notedUnit(part: Part): BoreUnit {
  const isNoted = (unit: string) =>
    ['bore', 'cruise', 'power'].some((step) => part[`${step}_${unit}`] != null)
  if (isNoted('thou')) return 'thou'
  if (isNoted('in')) return 'in'
  const text = String(part.bore ?? '')
  if (/(thou|mil)\s*$/i.test(text)) return 'thou'
  return /(in|inch|")\s*$/i.test(text) ? 'in' : 'mm'
}

function sizeIn(part: Part, way: Way): string {
  const { label, turns, bore_mm, opens_inHg, volume_ml, cruise_mm, power_mm, flow } = sizedOrBare(part)
  if (turns !== undefined) return `${turnsWord(turns)} turns`
  if (bore_mm !== undefined && !hasReckonedBore(part)) {
    const word = way === 'drill' ? `drill ${drillOf(part)}` : lengthWord(bore_mm, way)
    return saysBore(label, bore_mm, way) ? label : `${label} (${word})`
  }
  if (opens_inHg !== undefined) return `${label} (opens at ${opens_inHg.toFixed(1)} inHg)`
  if (volume_ml !== undefined) return `${label} (${volume_ml.toFixed(2)} ml)`
  const unit = way === 'drill' ? 'mm' : way
  const steps = [
    ...(cruise_mm === undefined ? [] : [`${lengthWord(cruise_mm, unit)} at cruise`]),
    ...(power_mm === undefined ? [] : [`${lengthWord(power_mm, unit)} at power`]),
  ]
  if (steps.length > 0) return `${label} (${steps.join(', ')})`
  if (flow !== undefined) return `${label} (flow ${Math.round(flow * 100) / 100})`
  return label
}

/** The part with its sizes in mm; as it stands where they cannot be read, which is told where the parts are. */
function sizedOrBare(part: Part): Part {
  try {
    return sizedPart(part)
  } catch {
    return part
  }
}

/** True for a label that is the size itself, written with its unit: a bare number is a maker's code. */
function saysBore(label: string, boreMm: number, way: Way): boolean {
  const isDrill = DRILL_TEXT.test(label.trim())
  const unit = way === 'drill' ? undefined : way
  if (!isDrill && (unit === undefined || notedUnit({ label, bore: label }) !== unit)) return false
  if (isDrill !== (way === 'drill') || /^[\d.,]+$/.test(label.trim())) return false
  try {
    return Math.abs(parseBoreMm(label) - boreMm) <= SAME_BORE_MM
  } catch {
    return false
  }
}

/** A length as people write it: `1.85 mm`, `1.725 mm`, `0.073 in`, `0.0728 in`, `73 thou`, `72.8 thou`. */
function lengthWord(mm: number, unit: BoreUnit): string {
  const value = fromCanonical(mm, unit)
  const least = unit === 'mm' ? 2 : unit === 'in' ? 3 : 0
  // One digit more only where it tells something.
  const isFine = Math.abs(value * 10 ** least - Math.round(value * 10 ** least)) > FINE_DIGIT
  return `${formatNumber(value, { decimals: isFine ? least + 1 : least })} ${unit}`
}

/** What is left of a digit below this comes from the conversion of units. */
const FINE_DIGIT = 0.049

/** Turns to an eighth, as people count them: `1.5`, `2.375`. */
const turnsWord = (turns: number) => String(Math.round(turns * 1000) / 1000)
