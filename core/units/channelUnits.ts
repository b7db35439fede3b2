import { boardChannels } from '../line/channels.ts'
import { canonicalUnit, findUnit, type Quantity } from './unitTable.ts'

/**
 * Quantity of a channel of the board's format, with or without its bank suffix (`lambda_2`); inputs (`input_1` …) are
 * voltages. `undefined` for a channel of a board's own.
 */
export function channelQuantity(channel: string): Quantity | undefined {
  if (/^input_\d+$/.test(channel)) return 'voltage'
  const name = channel.replace(/_[2-9]$/, '')
  return Object.hasOwn(boardChannels, name) ? findUnit(boardChannels[name]).quantity : undefined
}

/** Unit of a known channel inside, as a board would declare it: λ is 1. A RangeError for a channel of a board's own. */
export function insideUnit(channel: string): string {
  const quantity = channelQuantity(channel)
  if (quantity === undefined) throw new RangeError(`unknown channel: ${channel}`)
  return quantity === 'mixture' ? '1' : canonicalUnit(quantity)
}
