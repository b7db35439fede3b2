/** Millimetres of an inch, exact. */
export const MM_PER_INCH = 25.4

// ASME B94.11M, twist drills: number sizes 1 to 80 and letter sizes A to Z, in ten-thousandths of an inch.
const NUMBER_SIZES = [
  2280, 2210, 2130, 2090, 2055, 2040, 2010, 1990, 1960, 1935, 1910, 1890, 1850, 1820, 1800, 1770, 1730, 1695,
  1660, 1610, 1590, 1570, 1540, 1520, 1495, 1470, 1440, 1405, 1360, 1285, 1200, 1160, 1130, 1110, 1100, 1065,
  1040, 1015, 995, 980, 960, 935, 890, 860, 820, 810, 785, 760, 730, 700, 670, 635, 595, 550, 520, 465, 430,
  420, 410, 400, 390, 380, 370, 360, 350, 330, 320, 310, 292, 280, 260, 250, 240, 225, 210, 200, 180, 160,
  145, 135,
]
const LETTER_SIZES = [
  2340, 2380, 2420, 2460, 2500, 2570, 2610, 2660, 2720, 2770, 2810, 2900, 2950, 3020, 3160, 3230, 3320, 3390,
  3480, 3580, 3680, 3770, 3860, 3970, 4040, 4130,
]

/** One drill of the standard's table. */
export interface Drill {
  /** '1' to '80', 'A' to 'Z'. */
  readonly name: string
  readonly diameterMm: number
}

/** All number and letter drills, smallest first. Source: ASME B94.11M. */
export const drills: readonly Drill[] = Object.freeze([
  ...NUMBER_SIZES.map((size, i) => ({
    name: String(i + 1),
    diameterMm: (size / 10000) * MM_PER_INCH,
  })).reverse(),
  ...LETTER_SIZES.map((size, i) => ({
    name: String.fromCharCode(65 + i),
    diameterMm: (size / 10000) * MM_PER_INCH,
  })),
])

/**
 * Diameter, mm, of a number or letter drill ('60', 'A'; '#60' and small letters too). Throws `RangeError` for a name
 * that the table does not hold. Source: ASME B94.11M.
 */
export function drillDiameterMm(name: string | number): number {
  const wanted = String(name)
    .trim()
    .replace(/^#\s*/, '')
    .replace(/^0+(?=\d)/, '')
    .toUpperCase()
  const drill = drills.find((candidate) => candidate.name === wanted)
  if (!drill) throw new RangeError(`unknown drill: ${name} (expected 1 to 80 or A to Z)`)
  return drill.diameterMm
}

/** A bore judged with drill shanks: the largest that goes in and the next that does not. */
export interface DrillFit {
  /** Largest drill not above the bore; `undefined` below the smallest. */
  readonly goes: Drill | undefined
  /** Smallest drill above the bore; `undefined` above the largest. */
  readonly stops: Drill | undefined
  readonly nearest: Drill
}

/** The drills next to a bore in mm. Throws `RangeError` if the bore is not a positive number. */
export function findDrills(boreMm: number): DrillFit {
  if (!(boreMm > 0 && boreMm < Infinity)) throw new RangeError(`invalid boreMm: ${boreMm} (expected above 0)`)
  // Half a micron of play: a bore typed with three decimals still takes its own drill.
  const index = drills.findLastIndex((drill) => drill.diameterMm <= boreMm + 0.0005)
  const goes = index < 0 ? undefined : drills[index]
  const stops = drills[index + 1]
  const nearest =
    goes && stops ? (boreMm - goes.diameterMm <= stops.diameterMm - boreMm ? goes : stops) : (goes ?? stops)
  return { goes, stops, nearest: nearest! }
}

// Number, then unit; a comma is read as a decimal point.
const MEASURE = /^(\d+(?:[.,]\d+)?|[.,]\d+)\s*(mm|in|inch|"|thou|mil)?$/i

/**
 * Bore, mm, from what the owner writes: `1.85`, `1.85 mm`, `0.073 in`, `73 thou`, or a drill as `#49` or `drill 49` or
 * a letter. A bare number is millimetres, since a stamped number is a maker's code and not a size.
 * Throws `RangeError` for anything else and for a size of 0.
 */
export function parseBoreMm(text: string): number {
  const trimmed = text.trim()
  const drill = /^(?:#|drill\s*)\s*([0-9]{1,2}|[a-z])$/i.exec(trimmed) ?? /^([a-z])$/i.exec(trimmed)
  if (drill) return drillDiameterMm(drill[1])
  const measure = MEASURE.exec(trimmed)
  const size = measure ? Number(measure[1].replace(',', '.')) : 0
  if (!measure || !(size > 0)) {
    throw new RangeError(`invalid bore: ${text} (expected such as 1.85 mm, 0.073 in, 73 thou or #49)`)
  }
  const unit = (measure[2] ?? 'mm').toLowerCase()
  if (unit === 'mm') return size
  return unit === 'thou' || unit === 'mil' ? (size / 1000) * MM_PER_INCH : size * MM_PER_INCH
}
