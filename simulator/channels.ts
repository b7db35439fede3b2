/** How the simulated board declares a channel. */
export interface BoardChannel {
  readonly name: string
  readonly unit: string
  readonly scale: number
  readonly offset: number
}

const channel = (name: string, unit: string, scale: number, offset = 0): BoardChannel => ({
  name,
  unit,
  scale,
  offset,
})

/** Channels of a board with metric senders. Scales are chosen to be of the size that an 10 or 12 bit converter gives. */
const metric: readonly BoardChannel[] = [
  channel('pump_current', 'mA', 0.001),
  channel('cell_resistance', 'ohm', 1),
  channel('heater_duty', '%', 0.5),
  channel('lambda', '1', 0.001),
  channel('engine_speed', 'rpm', 1),
  channel('throttle', '%', 0.1),
  channel('manifold_pressure', 'kPa', 0.05),
  channel('barometer', 'kPa', 0.05),
  channel('coolant', 'C', 0.1),
  channel('intake_air', 'C', 0.1),
  channel('oil_pressure', 'kPa', 1),
  channel('fuel_pressure', 'kPa', 0.2),
  channel('exhaust_temperature', 'C', 1),
  channel('supply', 'V', 0.01),
  channel('road_speed', 'km/h', 0.1),
  channel('humidity', '%', 0.5),
  channel('secondary', '%', 0.2),
  channel('pump_current_2', 'mA', 0.001),
  channel('cell_resistance_2', 'ohm', 1),
  channel('heater_duty_2', '%', 0.5),
  channel('lambda_2', '1', 0.001),
]

/** The same readings from a board that declares other units. */
const otherUnits: Readonly<Record<string, BoardChannel>> = {
  manifold_pressure: channel('manifold_pressure', 'inHg', 0.02),
  barometer: channel('barometer', 'inHg', 0.02),
  coolant: channel('coolant', 'F', 0.2),
  intake_air: channel('intake_air', 'F', 0.2),
  oil_pressure: channel('oil_pressure', 'psi', 0.2),
  fuel_pressure: channel('fuel_pressure', 'psi', 0.05),
  exhaust_temperature: channel('exhaust_temperature', 'F', 2),
  road_speed: channel('road_speed', 'mph', 0.1),
}

export const channelNames: readonly string[] = metric.map((item) => item.name)

const usual = [
  'pump_current',
  'cell_resistance',
  'heater_duty',
  'engine_speed',
  'throttle',
  'manifold_pressure',
  'barometer',
  'coolant',
  'intake_air',
  'exhaust_temperature',
  'supply',
  'road_speed',
]

/** Named sets of channels for `channels`. */
export const channelSets: Readonly<Record<string, readonly string[]>> = {
  usual,
  all: metric.slice(0, 17).map((item) => item.name),
  sixteen: metric
    .slice(0, 17)
    .map((item) => item.name)
    .filter((name) => name !== 'lambda'),
  lambda_only: ['lambda'],
  pump_only: ['pump_current', 'cell_resistance'],
  no_throttle: usual.filter((name) => name !== 'throttle'),
  no_pressure: usual.filter((name) => name !== 'manifold_pressure' && name !== 'barometer'),
  no_barometer: usual.filter((name) => name !== 'barometer'),
  speed_only: ['pump_current', 'cell_resistance', 'engine_speed'],
  no_coolant: usual.filter((name) => name !== 'coolant'),
}

/**
 * The declarations of a board with these channels, in this order; with two banks the second sensor's follow.
 * @throws RangeError for a name that the simulator cannot read
 */
export function boardChannels(
  names: readonly string[],
  banks: number,
  units: 'metric' | 'other',
): BoardChannel[] {
  const wanted = [...names]
  if (banks > 1) {
    for (const name of names) {
      if (
        ['pump_current', 'cell_resistance', 'heater_duty', 'lambda'].includes(name) &&
        !wanted.includes(`${name}_2`)
      ) {
        wanted.push(`${name}_2`)
      }
    }
  }
  return wanted.map((name) => {
    const found = metric.find((item) => item.name === name)
    if (!found) throw new RangeError(`invalid channel: ${name} (expected one of ${channelNames.join(', ')})`)
    return units === 'other' ? (otherUnits[name] ?? found) : found
  })
}
