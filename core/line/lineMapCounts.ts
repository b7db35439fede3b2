import type { LineCounts } from '../contract/samples.ts'
import { noLines } from './lineCounts.ts'

/** Of an offending line so many characters are kept to be shown. */
export const shownCharacters = 120

/** The first line that did not fit, to be shown with the reason. */
export interface LineMisfit {
  /** Number of the line, the first being 1. */
  readonly line: number
  readonly text: string
  readonly reason: string
}

/** Counters of a mapped source: `unreadable` are the lines that did not fit. */
export interface LineMapCounts extends LineCounts {
  /** Lines that became a sample. */
  fitting: number
  /** Comments, headers, empty lines and lines the map passes over. */
  passedOver: number
  headers: number
  /** Values outside the sanity range of their channel, by channel. */
  outOfRange: number[]
  /** The first line with such a value. */
  firstOutOfRange: LineMisfit | undefined
  /** Times the source's own clock went back. */
  clockJumps: number
  firstMisfit: LineMisfit | undefined
}

export function noMappedLines(channels: number): LineMapCounts {
  return {
    ...noLines(),
    fitting: 0,
    passedOver: 0,
    headers: 0,
    outOfRange: new Array<number>(channels).fill(0),
    firstOutOfRange: undefined,
    clockJumps: 0,
    firstMisfit: undefined,
  }
}

/** The line that was counted last, with what is wrong with it. */
export function misfitOf({ lines }: LineMapCounts, text: string, reason: string): LineMisfit {
  return { line: lines, text: text.slice(0, shownCharacters), reason }
}
