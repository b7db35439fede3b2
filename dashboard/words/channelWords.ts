import { convertUnit } from '../../core/units/convert.ts'
import { findUnit, isUnitId, type UnitContext } from '../../core/units/unitTable.ts'
import type { TraceChannel } from '../worker/messages.ts'
import { shortBankNames } from './bankNames.ts'
import { unitFor } from './units.ts'

/** A channel as the trace shows it: words, unit symbol, decimals, and the way from the declared unit to the shown one. */
export interface ChannelView {
  name: string
  label: string
  unit: string
  decimals: number
  convert: (value: number) => number
}

/** Quantities whose screen unit is followed; pressures only for the manifold, since a sender is read in its own unit. */
function followsChoice(channel: TraceChannel, quantity: string): boolean {
  if (quantity === 'pressure') return channel.name === 'manifold_pressure'
  return quantity === 'mixture' || quantity === 'temperature' || quantity === 'speed'
}

export function channelView(
  channel: TraceChannel,
  choices: readonly (Readonly<Record<string, string>> | undefined)[],
  context: UnitContext,
): ChannelView {
  const label = channel.name.replaceAll('_', ' ')
  const from = channel.unit
  if (!isUnitId(from))
    return { name: channel.name, label, unit: from, decimals: 2, convert: (value) => value }
  const { quantity } = findUnit(from)
  const to = from !== '1' && followsChoice(channel, quantity) ? unitFor(quantity, choices, from) : from
  const { decimals, symbol } = findUnit(to)
  const isMixture = quantity === 'mixture'
  return {
    name: channel.name,
    label: isMixture ? label.replace(' λ', '') : label,
    unit: isMixture ? symbol || 'λ' : symbol,
    decimals,
    convert: to === from ? (value) => value : (value) => convertUnit(value, from, to, context),
  }
}

/** Channels of a first visit: what says most about the mixture, as far as the board has it. */
export function startChannels(channels: readonly TraceChannel[]): string[] {
  const wanted = ['mixture λ', 'mixture λ, bank 2', 'lambda', 'engine_speed', 'manifold_pressure', 'throttle']
  const found = wanted.filter((name) => channels.some((channel) => channel.name === name))
  const hasDerived = found.includes('mixture λ')
  const chosen = found.filter((name) => !(name === 'lambda' && hasDerived)).slice(0, 4)
  return chosen.length > 0 ? chosen : channels.slice(0, 4).map((channel) => channel.name)
}

const secondBankChannel = 'mixture λ, bank 2'

/** Name of the worked-out target, drawn beside a mixture. */
export const targetChannel = 'target λ'

/** `mixture, left`: the worked-out mixture of a bank by its name, where there are two; any other channel has none. */
export function bankLabel(
  name: string,
  channels: readonly { name: string }[],
  bankNames: readonly string[] | undefined,
): string | undefined {
  if (!withTarget(name) || channels.filter((channel) => withTarget(channel.name)).length < 2) return undefined
  return `mixture, ${shortBankNames(bankNames)[name === secondBankChannel ? 1 : 0]}`
}

/** Whether the target belongs in this channel's strip. */
export function withTarget(name: string): boolean {
  return name.startsWith('mixture λ')
}
