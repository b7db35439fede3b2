import type { NumberColumn } from '../numeric/monotoneCurve.ts'

/** A sender's straight line from volts to its quantity, with the span in which the voltage means anything. */
export interface LinearTransfer {
  /** value = volts × perVolt + atZero, in the quantity's unit. */
  readonly perVolt: number
  readonly atZero: number
  /** Voltages outside this closed span give NaN: a broken wire or a clipped output is no reading. */
  readonly leastV: number
  readonly mostV: number
}

/** A pair read off a sender: its voltage and the value there. */
export type TransferPoint = readonly [volts: number, value: number]

/**
 * Straight line through two points. The span defaults to unlimited. Throws `RangeError` for equal voltages, numbers
 * that are not finite, and a span that does not rise.
 */
export function createLinearTransfer(
  first: TransferPoint,
  second: TransferPoint,
  spanV: readonly [number, number] = [-Infinity, Infinity],
): LinearTransfer {
  for (const number of [...first, ...second]) {
    if (!Number.isFinite(number)) throw new RangeError(`invalid point: ${number} (expected finite numbers)`)
  }
  if (first[0] === second[0])
    throw new RangeError(`invalid points: both at ${first[0]} V (expected two voltages)`)
  if (!(spanV[1] > spanV[0]))
    throw new RangeError(`invalid spanV: ${spanV.join(' to ')} (expected rising voltages)`)
  const perVolt = (second[1] - first[1]) / (second[0] - first[0])
  return { perVolt, atZero: first[1] - perVolt * first[0], leastV: spanV[0], mostV: spanV[1] }
}

/** Value at a voltage. NaN for NaN and outside the span. */
export function valueFromVoltage(volts: number, transfer: LinearTransfer): number {
  return volts >= transfer.leastV && volts <= transfer.mostV
    ? volts * transfer.perVolt + transfer.atZero
    : NaN
}

/** Voltage at a value: the inverse. NaN for NaN and where the voltage leaves the span. */
export function voltageFromValue(value: number, transfer: LinearTransfer): number {
  const volts = (value - transfer.atZero) / transfer.perVolt
  return volts >= transfer.leastV && volts <= transfer.mostV ? volts : NaN
}

/** `valueFromVoltage` for a column. No allocation; `target` may be the same column. */
export function valueFromVoltageInto<T extends NumberColumn>(
  target: T,
  volts: NumberColumn,
  transfer: LinearTransfer,
): T {
  const { perVolt, atZero, leastV, mostV } = transfer
  for (let i = 0; i < volts.length; i++) {
    const v = volts[i]
    target[i] = v >= leastV && v <= mostV ? v * perVolt + atZero : NaN
  }
  return target
}
