import { encodeLine } from '../../core/line/encodeLine.ts'

export interface TestBoardOptions {
  /** Samples a second by the board's own clock. Default 100. */
  rateHz?: number
  /** Channels: name and unit, values in thousandths. Default the least useful set. */
  channels?: readonly (readonly [name: string, unit: string])[]
  /** Value of a channel at a sample, in its unit. */
  readingOf?: (channel: string, sample: number) => number
  ticksPerSecond?: number
  boardName?: string
}

const defaultChannels = [
  ['lambda', '1'],
  ['engine_speed', 'rpm'],
  ['throttle', '%'],
  ['manifold_pressure', 'kPa'],
  ['coolant', 'C'],
] as const

/** A made-up board that speaks the line format: a pure generator of lines, paced by the test. */
export function createTestBoard(options: TestBoardOptions = {}): {
  /** `I` and every `C`. */
  greeting(): string
  /** The next samples; a declaration is slipped in after every 25th, as the format asks. */
  samples(count: number): string
  /** From now on other channels, as after a change on the board. */
  redeclare(channels: readonly (readonly [string, string])[]): string
  readonly sent: number
} {
  const { rateHz = 100, ticksPerSecond = 1_000_000, boardName = 'test board' } = options
  const readingOf = options.readingOf ?? ((_channel: string, sample: number) => 1 + (sample % 1000) / 1000)
  let channels = options.channels ?? defaultChannels
  let sent = 0
  let turn = 0

  const identity = () =>
    encodeLine({ kind: 'identity', version: 1, boardName, firmware: '0.1', uniqueId: 't1', ticksPerSecond })
  const declaration = (index: number) =>
    encodeLine({
      kind: 'channel',
      index,
      name: channels[index][0],
      unit: channels[index][1],
      scale: 0.001,
      offset: 0,
    })
  const greeting = () =>
    [identity(), ...channels.map((_, i) => declaration(i))].map((line) => `${line}\n`).join('')

  return {
    greeting,
    get sent() {
      return sent
    },
    redeclare(next) {
      channels = next
      return greeting()
    },
    samples(count) {
      let text = ''
      for (let i = 0; i < count; i++) {
        const values = channels.map(([name]) => Math.round(readingOf(name, sent) * 1000))
        const tick = Math.round((sent * ticksPerSecond) / rateHz) % 2 ** 32
        text += `${encodeLine({ kind: 'sample', seq: sent % 65_536, tick, values })}\n`
        sent++
        if (sent % 25 === 0) {
          text += `${turn % (channels.length + 1) === 0 ? identity() : declaration((turn % (channels.length + 1)) - 1)}\n`
          turn++
        }
      }
      return text
    },
  }
}
