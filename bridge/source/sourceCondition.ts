import type { SourceStatus } from '../../core/contract/stream.ts'
import type { WireState } from './source.ts'

/** What was heard of a source, and when; times on the bridge's clock, s, −∞ or NaN when never. */
export interface SourceHearing {
  wire: WireState
  /** What the wire says of its own state. */
  wireText: string
  /** The wire was opened, or its lines began to be read in another way. */
  openedS: number
  /** Newest readable line, and newest bytes of any kind. */
  goodS: number
  bytesS: number
}

/** What is said in each condition. */
export interface SourceWords {
  readonly connected: string
  /** While the speed of the wire is searched; empty when it is not. */
  readonly searching: string
  /** Bytes come that cannot be read. */
  readonly unreadable: string
}

/** Condition of a source, in one word and in a sentence that says what to do. @param silentS without a readable line for so long it is silent, s */
export function judgeSource(
  nowS: number,
  { wire, wireText, openedS, goodS, bytesS }: Readonly<SourceHearing>,
  silentS: number,
  words: SourceWords,
): [SourceStatus['state'], string] {
  if (wire !== 'open') return [wire, wireText]
  if (nowS - goodS <= silentS && goodS >= openedS) return ['connected', words.connected]
  const isHeard = nowS - bytesS <= silentS
  if (isHeard && words.searching) return ['silent', words.searching]
  if (nowS - Math.max(goodS, openedS) <= silentS) return ['connecting', wireText]
  if (isHeard) return ['silent', words.unreadable]
  return ['silent', 'the port is open but nothing comes: check the board and its supply']
}
