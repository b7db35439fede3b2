import type { Quantity, UnitId } from './unitTable.ts'

const quantities: Readonly<Record<string, Quantity>> = Object.freeze({
  pump_current: 'current',
  cell_resistance: 'resistance',
  heater_duty: 'share',
  lambda: 'mixture',
  engine_speed: 'engine_speed',
  throttle: 'share',
  manifold_pressure: 'pressure',
  barometer: 'pressure',
  coolant: 'temperature',
  intake_air: 'temperature',
  oil_pressure: 'pressure',
  fuel_pressure: 'pressure',
  exhaust_temperature: 'temperature',
  supply: 'voltage',
  road_speed: 'speed',
  humidity: 'share',
  secondary: 'share',
})

/**
 * Quantity of a channel of the board's format, with or without its bank suffix (`lambda_2`); inputs (`input_1` …) are
 * voltages. `undefined` for a channel of a board's own.
 */
export function channelQuantity(channel: string): Quantity | undefined {
  if (/^input_\d+$/.test(channel)) return 'voltage'
  const name = channel.replace(/_[2-9]$/, '')
  return Object.hasOwn(quantities, name) ? quantities[name] : undefined
}

/** Units that a board may declare (version 1 of its format). */
export const declarableUnits: readonly UnitId[] = [
  'mA',
  'ohm',
  '%',
  '1',
  'rpm',
  'kPa',
  'C',
  'V',
  'km/h',
  'A',
  'mV',
  'kohm',
  'F',
  'K',
  'psi',
  'inHg',
  'inHg_vacuum',
  'bar',
  'mbar',
  'mph',
  'm/s',
  'deg',
]
