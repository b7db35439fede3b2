/** Channels that the contract names, with the unit each is declared in unless the board says otherwise. Any other name is kept as it is. */
export const boardChannels: Readonly<Record<string, string>> = Object.freeze({
  pump_current: 'mA',
  cell_resistance: 'ohm',
  heater_duty: '%',
  lambda: '1',
  engine_speed: 'rpm',
  throttle: '%',
  manifold_pressure: 'kPa',
  barometer: 'kPa',
  coolant: 'C',
  intake_air: 'C',
  oil_pressure: 'kPa',
  fuel_pressure: 'kPa',
  exhaust_temperature: 'C',
  supply: 'V',
  road_speed: 'km/h',
  humidity: '%',
  secondary: '%',
})

/** Units a declaration may use; a channel in any other is kept and charted in that unit. */
export const declaredUnits: ReadonlySet<string> = new Set([
  ...Object.values(boardChannels),
  ...[
    'A',
    'V',
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
    '1',
  ],
])

/** Splits a channel's name into its base and the bank or sensor it belongs to: `lambda_2` is `lambda` of bank 2. Plain inputs (`input_2`) keep their number. */
export function splitChannelName(name: string): { base: string; bank: 1 | 2 } {
  const base = name.endsWith('_2') ? name.slice(0, -2) : name
  return base !== name && base !== 'input' ? { base, bank: 2 } : { base: name, bank: 1 }
}
