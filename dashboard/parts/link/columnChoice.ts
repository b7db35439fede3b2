import { boardChannels, splitChannelName } from '../../../core/line/channels.ts'
import type { LineMap } from '../../../core/line/lineMap.ts'
import { type ColumnTransfer, fromLineTransfer, plainTransfer, toLineTransfer } from './columnTransfer.ts'

/** What the owner says one column is. */
export interface ColumnChoice {
  /** Empty: not used; `time`: the source's own clock; else a channel. */
  channel: string
  unit: string
  transfer: ColumnTransfer
  least: number | undefined
  most: number | undefined
}

type MapChannel = LineMap['channels'][number]

export const unusedColumn: ColumnChoice = {
  channel: '',
  unit: '1',
  transfer: plainTransfer,
  least: undefined,
  most: undefined,
}

/** An open end of a sanity range. */
const farEnd = 1e9

/** A column after a choice: another channel brings its usual unit, and a unit that a thermistor cannot give takes it away. */
export function changedColumn(column: ColumnChoice, part: Partial<ColumnChoice>): ColumnChoice {
  const next = { ...column, ...part }
  if (part.channel !== undefined && part.channel !== column.channel)
    next.unit =
      boardChannels[splitChannelName(part.channel).base] ?? (/^input_\d+$/.test(part.channel) ? 'V' : '1')
  if (next.transfer.kind === 'thermistor' && next.unit !== 'C') next.transfer = plainTransfer
  return next
}

/** A saved map's channel as a choice. */
export function columnOfChannel({ channel, unit, transfer, range }: MapChannel): ColumnChoice {
  return {
    channel,
    unit,
    transfer: fromLineTransfer(transfer),
    least: range && range[0] > -farEnd ? range[0] : undefined,
    most: range && range[1] < farEnd ? range[1] : undefined,
  }
}

/**
 * A choice as a map's channel.
 * @throws RangeError for a transfer that cannot be, with the column's name before it
 */
export function channelOfColumn(
  { channel, unit, transfer, least, most }: ColumnChoice,
  field: string | number,
  name: string,
) {
  let made: ReturnType<typeof toLineTransfer>
  try {
    made = toLineTransfer(transfer)
  } catch (error) {
    throw new RangeError(`${name}: ${(error as Error).message}`)
  }
  return {
    field,
    channel,
    unit,
    ...(made && { transfer: made }),
    ...(least === undefined && most === undefined ? {} : { range: [least ?? -farEnd, most ?? farEnd] }),
  }
}
