import type { BoardEvent, BoardIdentity, ChannelDeclaration } from '../../core/contract/samples.ts'
import { type BoardCounts, createBoardDecoder } from '../../core/line/boardDecoder.ts'
import type { BoardLine } from '../../core/line/boardLine.ts'
import type { BoardAnswer } from '../../core/line/boardSink.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'

/** A line and the time at which it arrives. */
export interface ScriptLine {
  arrivalS: number
  text: string
}

/** Everything a decoder said, joined over blocks. */
export interface Decoded {
  segments: {
    segment: number
    channels: readonly ChannelDeclaration[]
    timeS: number[]
    columns: number[][]
  }[]
  events: BoardEvent[]
  identities: BoardIdentity[]
  answers: BoardAnswer[]
  counts: BoardCounts
}

export const identityLine: BoardLine = {
  kind: 'identity',
  version: 1,
  boardName: 'bench board',
  firmware: '0.3',
  uniqueId: '7f3a',
  ticksPerSecond: 1_000_000,
}

export function channelLine(index: number, name = `ch${index}`, scale = 1, offset = 0): BoardLine {
  return { kind: 'channel', index, name, unit: 'V', scale, offset }
}

export function at(arrivalS: number, line: BoardLine | string): ScriptLine {
  return { arrivalS, text: typeof line === 'string' ? line : encodeLine(line) }
}

/** `count` samples at 100 Hz, one value that counts up, arriving 2 ms after they were taken; seq and tick wrap. */
export function sampleLines(
  count: number,
  { from = 0, startS = 0, seq = 0, tick = 0, values = (i: number) => [i] as number[] } = {},
): ScriptLine[] {
  const lines: ScriptLine[] = []
  for (let i = from; i < from + count; i++) {
    lines.push(
      // Whole microseconds, as a capture keeps them.
      at(Math.round((startS + i * 0.01 + 0.002) * 1e6) / 1e6, {
        kind: 'sample',
        seq: (seq + i) % 65536,
        tick: (tick + i * 10_000) % 2 ** 32,
        values: values(i),
      }),
    )
  }
  return lines
}

export function gather(): {
  result: Omit<Decoded, 'counts'>
  sink: Parameters<typeof createBoardDecoder>[0]['emit']
} {
  const result: Omit<Decoded, 'counts'> = { segments: [], events: [], identities: [], answers: [] }
  return {
    result,
    sink: {
      block({ segment, channels, count, timeS, columns }) {
        let last = result.segments.at(-1)
        if (last?.segment !== segment) {
          last = { segment, channels, timeS: [], columns: channels.map(() => []) }
          result.segments.push(last)
        }
        last.timeS.push(...timeS.subarray(0, count))
        columns.forEach((column, i) => {
          last.columns[i].push(...column.subarray(0, count))
        })
      },
      event: (event) => result.events.push(event),
      identity: (identity) => result.identities.push(identity),
      answer: (answer) => result.answers.push(answer),
    },
  }
}

/** Pushes each line whole, at its arrival. */
export function decodeScript(lines: readonly ScriptLine[], lineEnd = '\n'): Decoded {
  const { result, sink } = gather()
  const decoder = createBoardDecoder({ emit: sink })
  for (const { arrivalS, text } of lines) decoder.push(Buffer.from(text + lineEnd, 'latin1'), arrivalS)
  decoder.flush()
  return { ...result, counts: { ...decoder.counts } }
}
