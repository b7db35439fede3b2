import { createMonotoneCurve, curveValue, type NumberColumn } from '../numeric/monotoneCurve.ts'
import { createLinearTransfer, valueFromVoltage } from './linearTransfer.ts'
import { createThermistorTable, type ThermistorModel, thermistorTemperatureC } from './thermistor.ts'
import { dividerResistanceOhm, type VoltageDivider } from './voltageDivider.ts'

/** What a sender on a plain input makes of a voltage: value in the sender's own unit; NaN for no usable voltage. */
export type SenderTransfer = (volts: number) => number

/**
 * Reads a sender's description (JSON, e.g. `inputs.input_1.transfer` of a car's profile):
 * - `{"kind": "linear", "points": [[0.5, 0], [4.5, 700]], "span_V": [0.2, 4.8]}`: a line, `span_V` optional;
 * - `{"kind": "table", "points": [[V, value], …]}`: smooth through all points, nothing beyond them;
 * - `{"kind": "thermistor", "supply_V": 5, "fixed_ohm": 2490, …}` with `a, b, c`, or `beta, r0_ohm, t0_C`, or
 *   `points` `[[ohm, °C], …]`; the fixed resistor pulls up unless `"sender": "to_supply"`.
 * Throws `RangeError` that names the entry and its value for anything else.
 */
export function parseSenderTransfer(entry: unknown): SenderTransfer {
  const record = (typeof entry === 'object' && entry !== null ? entry : {}) as Record<string, unknown>
  switch (record['kind']) {
    case 'linear':
      return linearTransfer(record)
    case 'table':
      return tableTransfer(record)
    case 'thermistor':
      return thermistorTransfer(record)
    default:
      throw new RangeError(
        `invalid transfer: ${JSON.stringify(entry)} (expected kind linear, table or thermistor)`,
      )
  }
}

/** A transfer applied to a column; `target` may be the same column. */
export function applyTransferInto<T extends NumberColumn>(
  target: T,
  volts: NumberColumn,
  transfer: SenderTransfer,
): T {
  for (let i = 0; i < volts.length; i++) target[i] = transfer(volts[i])
  return target
}

function linearTransfer(record: Record<string, unknown>): SenderTransfer {
  const points = readPairs(record, 'points')
  if (points.length !== 2) throw new RangeError(`invalid points: ${points.length} (expected 2 for a line)`)
  const span = record['span_V'] === undefined ? undefined : readPair(record['span_V'], 'span_V')
  const transfer = createLinearTransfer(points[0], points[1], span)
  return (volts) => valueFromVoltage(volts, transfer)
}

function tableTransfer(record: Record<string, unknown>): SenderTransfer {
  const points = readPairs(record, 'points').sort((p, q) => p[0] - q[0])
  const curve = createMonotoneCurve(
    points.map(([volts]) => volts),
    points.map(([, value]) => value),
  )
  return (volts) => curveValue(curve, volts)
}

function thermistorTransfer(record: Record<string, unknown>): SenderTransfer {
  const divider: VoltageDivider = {
    supplyV: readPositive(record, 'supply_V'),
    fixedOhm: readPositive(record, 'fixed_ohm'),
    sender: record['sender'] === 'to_supply' ? 'to_supply' : 'to_ground',
  }
  const model = readThermistor(record)
  return (volts) => thermistorTemperatureC(dividerResistanceOhm(volts, divider), model)
}

function readThermistor(record: Record<string, unknown>): ThermistorModel {
  if (record['points'] !== undefined) {
    const points = readPairs(record, 'points')
    return createThermistorTable(
      points.map(([resistanceOhm, temperatureC]) => ({ resistanceOhm, temperatureC })),
    )
  }
  if (record['beta'] !== undefined) {
    return {
      beta: readPositive(record, 'beta'),
      r0Ohm: readPositive(record, 'r0_ohm'),
      t0C: readNumber(record, 't0_C'),
    }
  }
  return { a: readNumber(record, 'a'), b: readNumber(record, 'b'), c: readNumber(record, 'c') }
}

function readNumber(record: Record<string, unknown>, key: string): number {
  const value = record[key]
  if (typeof value !== 'number' || !Number.isFinite(value)) {
    throw new RangeError(`invalid ${key}: ${JSON.stringify(value)} (expected a finite number)`)
  }
  return value
}

function readPositive(record: Record<string, unknown>, key: string): number {
  const value = readNumber(record, key)
  if (!(value > 0)) throw new RangeError(`invalid ${key}: ${value} (expected above 0)`)
  return value
}

function readPairs(record: Record<string, unknown>, key: string): [number, number][] {
  const value = record[key]
  if (!Array.isArray(value)) throw new RangeError(`invalid ${key}: ${JSON.stringify(value)} (expected pairs)`)
  return value.map((pair) => readPair(pair, key))
}

function readPair(pair: unknown, key: string): [number, number] {
  if (
    !Array.isArray(pair) ||
    pair.length !== 2 ||
    !pair.every((n) => typeof n === 'number' && Number.isFinite(n))
  ) {
    throw new RangeError(`invalid ${key}: ${JSON.stringify(pair)} (expected two numbers)`)
  }
  return [pair[0], pair[1]]
}
