/** Most bytes of a line, its ending (CR, LF) not counted. */
export const maxLineBytes = 250

/** Line `I`: who the board is. */
export interface IdentityLine {
  readonly kind: 'identity'
  readonly version: number
  readonly boardName: string
  readonly firmware: string
  readonly uniqueId: string
  /** 0 when the board has no clock of its own. */
  readonly ticksPerSecond: number
}

/** Line `C`: value = integer × scale + offset, in `unit`. */
export interface ChannelLine {
  readonly kind: 'channel'
  readonly index: number
  readonly name: string
  readonly unit: string
  readonly scale: number
  readonly offset: number
}

/** Line `S`: integers as sent, NaN for an empty field. */
export interface SampleLine {
  readonly kind: 'sample'
  readonly seq: number
  readonly tick: number
  readonly values: readonly number[]
}

/** Line `E`. */
export interface EventLine {
  readonly kind: 'event'
  readonly tick: number
  readonly code: string
  readonly text: string
}

/** Line `A`. */
export interface AnswerLine {
  readonly kind: 'answer'
  readonly command: string
  readonly ok: boolean
  readonly text: string
}

/** What a board can say in one line. */
export type BoardLine = IdentityLine | ChannelLine | SampleLine | EventLine | AnswerLine

/** A line that cannot be used, and why: damaged under way, or no line of the format. */
export interface BadLine {
  readonly kind: 'bad'
  readonly reason: 'bad_checksum' | 'unreadable'
}
