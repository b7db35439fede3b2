import { SEA_LEVEL_PRESSURE_KPA } from '../air/standardAtmosphere.ts'
import { declaredUnits } from '../line/channels.ts'
import { channelQuantity } from '../units/channelUnits.ts'
import { unitTransfer } from '../units/convert.ts'

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
/** Shares declared as a part of 1, and a plate's angle as a share of a quarter turn: rest is learned, and the span matters little. */
const ofOne: UnitTransform = Object.freeze({ scale: 100, offset: 0 })
const ofQuarterTurn: UnitTransform = Object.freeze({ scale: 100 / 90, offset: 0 })
/** Vacuum is told against the air of the day; the pipeline shifts it once the barometer is known. */
const atSeaLevel = Object.freeze({ barometerKpa: SEA_LEVEL_PRESSURE_KPA })

/**
 * How values of a channel in a declared unit become the inside unit (mA, Ω, %, λ, rpm, kPa absolute, °C, V, m/s).
 * Units that are not known, and those that are inside units already, change nothing.
 */
export function unitTransform(channel: string, unit: string): UnitTransform {
  if (channelQuantity(channel) === 'share') {
    if (unit === '1') return ofOne
    if (unit === 'deg') return ofQuarterTurn
  }
  if (!declaredUnits.has(unit)) return sameUnit
  const { scale, offset } = unitTransfer(unit, atSeaLevel)
  return { scale, offset }
}
