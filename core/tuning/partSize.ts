import { type Box, type Fitted, type Part, partSchema } from '../contract/car.ts'
import { drillDiameterMm, MM_PER_INCH, parseBoreMm } from './drills.ts'

type Sized = 'bore_mm' | 'cruise_mm' | 'power_mm'

const MM_PER_THOU = MM_PER_INCH / 1000
/** Finer than any jet is made, mm: hides what the conversion of inches leaves in the last digits. */
const DIGITS = 1e5

const lengthMm = (factor: number) => (value: unknown) => {
  if (typeof value !== 'number' || !(value > 0))
    throw new RangeError(`${String(value)} (expected a number above 0)`)
  return value * factor
}
const textMm = (value: unknown) => parseBoreMm(String(value))
const drillMm = (value: unknown) => drillDiameterMm(String(value))

/** Other ways to note a size, each with the field in mm that it stands for. */
const WAYS: readonly (readonly [field: string, mm: Sized, read: (value: unknown) => number])[] = [
  ['bore', 'bore_mm', textMm],
  ['drill', 'bore_mm', drillMm],
  ...(['bore', 'cruise', 'power'] as const).flatMap(
    (name) =>
      [
        [`${name}_in`, `${name}_mm`, lengthMm(MM_PER_INCH)],
        [`${name}_thou`, `${name}_mm`, lengthMm(MM_PER_THOU)],
      ] as const,
  ),
]

/**
 * The part with its sizes in mm where the owner noted them otherwise: `bore` as text (`73 thou`, `0.073 in`, `#49`), `drill` (number or
 * letter that just fits), `bore_in`, `bore_thou`, and of a metering rod `cruise_in`, `power_in`, `cruise_thou`, `power_thou`. A size in mm wins.
 * Throws `RangeError` that begins with the field at fault.
 */
export function sizedPart(part: Part): Part {
  let sized = part
  for (const [field, mm, read] of WAYS) {
    const noted = part[field]
    if (noted === undefined || noted === null || sized[mm] !== undefined) continue
    try {
      sized = { ...sized, [mm]: Math.round(read(noted) * DIGITS) / DIGITS }
    } catch (error) {
      throw new RangeError(`${field}: ${error instanceof Error ? error.message : String(error)}`)
    }
    const within = partSchema.shape[mm].safeParse(sized[mm])
    if (!within.success) throw new RangeError(`${field}: ${within.error.issues[0].message}`)
  }
  return sized
}

/** Fields that tell a part's size. */
const SIZES = [
  'bore_mm',
  'flow',
  'turns',
  'opens_inHg',
  'volume_ml',
  'cruise_mm',
  'power_mm',
  'stiffness',
  'notch',
] as const

/**
 * The fitted parts, each completed with the sizes that the box gives to its label. Where the box has several sizes of one label, or another than is noted,
 * the label tells nothing.
 */
export function completedFrom(box: Box, fitted: Fitted): Fitted {
  const completed: Fitted = {}
  for (const [name, part] of Object.entries(fitted)) {
    const same = (box[name] ?? []).filter((entry) => plain(entry.label) === plain(part.label))
    const sizes = sizesOf(same[0] ?? part)
    const isOne = same.every((entry) => isAlike(sizesOf(entry), sizes))
    const isSure = isOne && isAlike(sizesOf(part), sizes)
    completed[name] = isSure ? { ...part, ...sizes, label: part.label } : part
  }
  return completed
}

const plain = (label: string) => label.trim().toLowerCase()

function sizesOf(part: Part): Partial<Part> {
  return Object.fromEntries(
    SIZES.flatMap((field) => (part[field] === undefined ? [] : [[field, part[field]]])),
  )
}

/** True when no field that both have differs. */
function isAlike(a: Partial<Part>, b: Partial<Part>): boolean {
  return Object.entries(a).every(([field, value]) => b[field] === undefined || b[field] === value)
}
