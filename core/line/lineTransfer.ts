import { createThermistorTable, type ThermistorModel, thermistorTemperatureC } from '../sensing/thermistor.ts'
import { dividerResistanceOhm, type VoltageDivider } from '../sensing/voltageDivider.ts'
import type { LineTransfer } from './lineMap.ts'

/**
 * Makes the function from a field's number to the channel's value; NaN for NaN and outside a table.
 * @throws RangeError when a thermistor's points are no thermistor's
 */
export function createLineTransfer(transfer: LineTransfer | undefined): (value: number) => number {
  if (transfer === undefined) return (value) => value
  if (transfer.type === 'linear') {
    const { scale, offset } = transfer
    return (value) => value * scale + offset
  }
  if (transfer.type === 'table') return (value) => interpolate(value, transfer.points)
  const model = thermistorModel(transfer.model)
  const { divider } = transfer
  if (divider === undefined) return (ohm) => thermistorTemperatureC(ohm, model)
  const joint: VoltageDivider = {
    supplyV: divider.supply_V,
    fixedOhm: divider.fixed_ohm,
    sender: divider.sender,
  }
  return (volts) => thermistorTemperatureC(dividerResistanceOhm(volts, joint), model)
}

function thermistorModel(model: Extract<LineTransfer, { type: 'thermistor' }>['model']): ThermistorModel {
  if ('beta' in model) return { beta: model.beta, r0Ohm: model.r0_ohm, t0C: model.t0_C }
  if ('points' in model)
    return createThermistorTable(
      model.points.map(([resistanceOhm, temperatureC]) => ({ resistanceOhm, temperatureC })),
    )
  return model
}

function interpolate(value: number, points: readonly (readonly [number, number])[]): number {
  const last = points.length - 1
  if (!(value >= points[0][0] && value <= points[last][0])) return Number.NaN
  let low = 0
  let high = last
  while (high - low > 1) {
    const middle = (low + high) >> 1
    if (points[middle][0] <= value) low = middle
    else high = middle
  }
  const [x0, y0] = points[low]
  const [x1, y1] = points[high]
  return y0 + ((y1 - y0) * (value - x0)) / (x1 - x0)
}
