import { parseSenderTransfer } from '../../../core/sensing/senderTransfer.ts'
import { fitSteinhartHart } from '../../../core/sensing/thermistorFit.ts'
import { toCanonical } from '../../../core/units/convert.ts'
import type { UnitId } from '../../../core/units/unitTable.ts'

export type SenderKind = 'thermistor' | 'linear' | 'table'

/** One measured point: Ω and °C for a thermistor, V and the quantity (inside unit) else. */
export interface SenderPoint {
  x: number | undefined
  y: number | undefined
}

/** How a thermistor is read: a fixed resistor and a supply make a voltage of it. */
export interface SenderDivider {
  supplyV: number
  fixedOhm: number
  sender: 'to_ground' | 'to_supply'
}

export interface SenderFit {
  /** For `inputs` of a car's profile. */
  transfer: Record<string, unknown>
  /** Fitted minus measured for each used point, in order; NaN where the fit gives none. */
  errors: number[]
  largest: number
  /** What was found, in words. */
  text: string
  warning?: string
}

/**
 * Fits a sender through its measured points. A line through more than two points is least squares.
 * @throws RangeError in words for a person
 */
export function fitSender(
  kind: SenderKind,
  points: readonly SenderPoint[],
  divider: SenderDivider,
): SenderFit {
  const used = points.filter(
    (point): point is { x: number; y: number } => point.x !== undefined && point.y !== undefined,
  )
  if (kind === 'thermistor') return fitThermistor(used, divider)
  if (used.length < 2) throw new RangeError('measure two points or more')
  const ordered = [...used].sort((a, b) => a.x - b.x)
  const ends = kind === 'linear' ? lineThrough(ordered) : undefined
  const transfer = ends
    ? { kind: 'linear', points: ends }
    : { kind: 'table', points: ordered.map(({ x, y }) => [x, y]) }
  const read = parseSenderTransfer(transfer)
  const errors = used.map(({ x, y }) => read(x) - y)
  const slope = ends ? (ends[1][1] - ends[0][1]) / (ends[1][0] - ends[0][0]) : Number.NaN
  return {
    transfer,
    errors,
    largest: Math.max(...errors.map(Math.abs)),
    text: ends
      ? `${Number(slope.toPrecision(5))} a volt, ${Number((ends[0][1] - slope * ends[0][0]).toPrecision(5))} at 0 V`
      : 'smooth through all points, nothing beyond them',
    ...(ends && used.length === 2
      ? { warning: 'Two points always fit a line: a third one tells whether it is one.' }
      : {}),
  }
}

function fitThermistor(used: readonly { x: number; y: number }[], divider: SenderDivider): SenderFit {
  if (used.length < 3)
    throw new RangeError('measure three points or more, far apart: ice water, warm, boiling')
  const fit = fitSteinhartHart(used.map(({ x, y }) => ({ resistanceOhm: x, temperatureC: y })))
  const { a, b, c } = fit.model
  const warning = !fit.isMonotone
    ? 'The curve turns back between the points: one of them must be wrong.'
    : used.length === 3
      ? 'Three points always fit: a fourth one tells the error.'
      : undefined
  return {
    transfer: {
      kind: 'thermistor',
      supply_V: divider.supplyV,
      fixed_ohm: divider.fixedOhm,
      sender: divider.sender,
      a,
      b,
      c,
    },
    errors: [...fit.errorsK],
    largest: fit.largestErrorK,
    text: `A ${a.toExponential(4)}, B ${b.toExponential(4)}, C ${c.toExponential(4)} (Steinhart–Hart)`,
    ...(warning ? { warning } : {}),
  }
}

/** Two points on the least-squares line, at the ends of the measured span. */
function lineThrough(points: readonly { x: number; y: number }[]): [[number, number], [number, number]] {
  const meanX = points.reduce((sum, { x }) => sum + x, 0) / points.length
  const meanY = points.reduce((sum, { y }) => sum + y, 0) / points.length
  const sxx = points.reduce((sum, { x }) => sum + (x - meanX) ** 2, 0)
  if (!(sxx > 0)) throw new RangeError('the points need two voltages')
  const slope = points.reduce((sum, { x, y }) => sum + (x - meanX) * (y - meanY), 0) / sxx
  const at = (x: number): [number, number] => [x, meanY + slope * (x - meanX)]
  return [at(points[0].x), at(points[points.length - 1].x)]
}

/** An error, which is a difference, in a screen unit. */
export function differenceIn(error: number, unit: UnitId): number {
  const zero = toCanonical(0, unit)
  return error / (toCanonical(1, unit) - zero)
}
