import type { LineTransfer } from '../../../core/line/lineMap.ts'

export type TransferKind = 'none' | 'linear' | 'table' | 'thermistor'
export type ThermistorKind = 'beta' | 'steinhart' | 'points'

/** How a column's number becomes its value, as the owner types it. */
export interface ColumnTransfer {
  kind: TransferKind
  scale: number
  offset: number
  /** Pairs as typed, one a line: number and value; of a thermistor Ω and °C. */
  points: string
  thermistor: ThermistorKind
  beta: number | undefined
  r0Ohm: number | undefined
  t0C: number | undefined
  a: number | undefined
  b: number | undefined
  c: number | undefined
  /** The column holds a voltage over a pair of resistors, not ohms. */
  isDivider: boolean
  supplyV: number
  fixedOhm: number
  sender: 'to_ground' | 'to_supply'
}

export const plainTransfer: ColumnTransfer = Object.freeze({
  kind: 'none',
  scale: 1,
  offset: 0,
  points: '',
  thermistor: 'beta',
  beta: undefined,
  r0Ohm: undefined,
  t0C: 25,
  a: undefined,
  b: undefined,
  c: undefined,
  isDivider: true,
  supplyV: 5,
  fixedOhm: 2490,
  sender: 'to_ground',
})

/**
 * Reads pairs of numbers, one pair a line, parted by white space, `=`, `;` or `:`; a decimal comma is read too.
 * @throws RangeError naming the first line that is no pair
 */
export function parsePoints(text: string): [number, number][] {
  const points: [number, number][] = []
  for (const [i, line] of text.split('\n').entries()) {
    if (line.trim() === '') continue
    const parts = line
      .trim()
      .split(/[\s=;:]+/)
      .filter((part) => part !== '')
    const [x, y] = parts.map((part) => Number(part.replace(',', '.').replace('−', '-')))
    if (parts.length !== 2 || !Number.isFinite(x) || !Number.isFinite(y))
      throw new RangeError(`line ${i + 1} “${line.trim()}” is no pair of numbers`)
    points.push([x, y])
  }
  return points
}

/**
 * The transfer for a line map; undefined where the number is the value.
 * @throws RangeError in words for what is missing or cannot be
 */
export function toLineTransfer(choice: ColumnTransfer): LineTransfer | undefined {
  const { kind, scale, offset } = choice
  if (kind === 'none') return undefined
  if (kind === 'linear') return scale === 1 && offset === 0 ? undefined : { type: 'linear', scale, offset }
  if (kind === 'table') {
    const points = parsePoints(choice.points).sort((p, q) => p[0] - q[0])
    if (points.length < 2) throw new RangeError('a table needs two points or more')
    return { type: 'table', points }
  }
  const { isDivider, supplyV, fixedOhm, sender } = choice
  return {
    type: 'thermistor',
    model: thermistorModel(choice),
    ...(isDivider && { divider: { supply_V: supplyV, fixed_ohm: fixedOhm, sender } }),
  }
}

function thermistorModel(choice: ColumnTransfer): Extract<LineTransfer, { type: 'thermistor' }>['model'] {
  if (choice.thermistor === 'points') {
    const points = parsePoints(choice.points)
    if (points.length < 2) throw new RangeError('a thermistor needs two points or more')
    return { points }
  }
  if (choice.thermistor === 'beta') {
    const { beta, r0Ohm, t0C } = choice
    if (beta === undefined || r0Ohm === undefined || t0C === undefined)
      throw new RangeError('a thermistor needs β, and its resistance at a temperature')
    return { beta, r0_ohm: r0Ohm, t0_C: t0C }
  }
  const { a, b, c } = choice
  if (a === undefined || b === undefined || c === undefined)
    throw new RangeError('a thermistor needs A, B and C')
  return { a, b, c }
}

/** The owner's view of a map's transfer. */
export function fromLineTransfer(transfer: LineTransfer | undefined): ColumnTransfer {
  if (transfer === undefined) return plainTransfer
  if (transfer.type === 'linear')
    return { ...plainTransfer, kind: 'linear', scale: transfer.scale, offset: transfer.offset }
  const textOf = (points: readonly (readonly number[])[]) => points.map((pair) => pair.join(' ')).join('\n')
  if (transfer.type === 'table') return { ...plainTransfer, kind: 'table', points: textOf(transfer.points) }
  const { model, divider } = transfer
  return {
    ...plainTransfer,
    kind: 'thermistor',
    isDivider: divider !== undefined,
    ...(divider && {
      supplyV: divider.supply_V,
      fixedOhm: divider.fixed_ohm,
      sender: divider.sender ?? 'to_ground',
    }),
    ...('beta' in model
      ? { thermistor: 'beta', beta: model.beta, r0Ohm: model.r0_ohm, t0C: model.t0_C }
      : 'points' in model
        ? { thermistor: 'points', points: textOf(model.points) }
        : { thermistor: 'steinhart', ...model }),
  }
}
