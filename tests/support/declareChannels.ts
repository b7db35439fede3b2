import type { ChannelDeclaration } from '../../core/contract/samples.ts'
import { boardChannels } from '../../core/line/channels.ts'

/** Declarations of a board that sends these channels in their usual units. */
export function declareChannels(names: readonly string[], scale = 1): ChannelDeclaration[] {
  return names.map((name, index) => ({ index, name, unit: boardChannels[name], scale, offset: 0 }))
}
