import { SEA_LEVEL_PRESSURE_KPA, ZERO_CELSIUS_K } from '../air/standardAtmosphere.ts'

/** Channels that the pipeline knows, in the order of their slots. Others are recorded and charted, not stored here. */
export const channelNames = [
  'pump_current',
  'cell_resistance',
  'heater_duty',
  'lambda',
  'pump_current_2',
  'cell_resistance_2',
  'heater_duty_2',
  'lambda_2',
  'engine_speed',
  'throttle',
  'manifold_pressure',
  'barometer',
  'coolant',
  'intake_air',
  'oil_pressure',
  'fuel_pressure',
  'exhaust_temperature',
  'exhaust_temperature_2',
  'supply',
  'road_speed',
  'humidity',
  'secondary',
  'input_1',
  'input_2',
  'input_3',
  'input_4',
  'input_5',
  'input_6',
  'input_7',
  'input_8',
] as const
export type ChannelName = (typeof channelNames)[number]

const slots = Object.fromEntries(channelNames.map((name, slot) => [name, slot])) as Record<
  ChannelName,
  number
>

/** Slot number of each known channel. */
export const channelSlots: Readonly<Record<ChannelName, number>> = Object.freeze(slots)
export const slotCount = channelNames.length
export const firstInputSlot = slots.input_1

/** Slot of a channel by its declared name, −1 for one that is not known. */
export function slotOf(name: string): number {
  return Object.hasOwn(slots, name) ? slots[name as ChannelName] : -1
}

/** inside value = declared value × scale + offset. */
export interface UnitTransform {
  readonly scale: number
  readonly offset: number
}

const sameUnit: UnitTransform = Object.freeze({ scale: 1, offset: 0 })
const scaled = (scale: number): UnitTransform => Object.freeze({ scale, offset: 0 })

/** Conventional inch of mercury and pound-force per square inch, kPa (NIST SP 811, appendix B). */
const INCH_OF_MERCURY_KPA = 3.386389
const PSI_KPA = 6.894757

// Exact by definition but where a source stands above.
const transforms: Readonly<Record<string, UnitTransform>> = Object.freeze({
  A: scaled(1000),
  mV: scaled(0.001),
  kohm: scaled(1000),
  K: { scale: 1, offset: -ZERO_CELSIUS_K },
  F: { scale: 5 / 9, offset: -160 / 9 },
  psi: scaled(PSI_KPA),
  inHg: scaled(INCH_OF_MERCURY_KPA),
  // Vacuum is told against the air of the day; the pipeline shifts it once the barometer is known.
  inHg_vacuum: { scale: -INCH_OF_MERCURY_KPA, offset: SEA_LEVEL_PRESSURE_KPA },
  bar: scaled(100),
  mbar: scaled(0.1),
  mph: scaled(0.44704),
  'km/h': scaled(1 / 3.6),
  // A plate's angle, taken as a share of a quarter turn: rest is learned, and the span matters little.
  deg: scaled(100 / 90),
})

/**
 * How values of a channel in a declared unit become the inside unit (mA, Ω, %, λ, rpm, kPa absolute, °C, V, m/s).
 * Units that are not known, and those that are inside units already, change nothing.
 */
export function unitTransform(channel: string, unit: string): UnitTransform {
  // A throttle or duty as a share of 1.
  if (
    unit === '1' &&
    (channel === 'throttle' || channel === 'secondary' || channel.startsWith('heater_duty'))
  ) {
    return scaled(100)
  }
  return Object.hasOwn(transforms, unit) ? transforms[unit] : sameUnit
}
