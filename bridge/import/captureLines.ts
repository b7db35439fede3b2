import { formatCaptureLine } from '../../core/capture/formatCapture.ts'
import { maxLineBytes } from '../../core/line/boardLine.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import type { LineMap } from '../../core/line/lineMap.ts'
import { slotOf } from '../../core/pipeline/channels.ts'
import type { ChannelDigits } from './logSurvey.ts'

const ticksPerSecond = 1e6
const tickModulus = 2 ** 32
const seqModulus = 65536
/** `S,65535,4294967295` and the checksum. */
const frameBytes = 18 + 5

/** One board's worth of a log's channels: as many as a line of the format holds. */
export interface ImportedSource {
  readonly number: number
  /** Positions of its channels in the map. */
  readonly channels: readonly number[]
}

/**
 * Shares the channels out: those that the pipeline knows on source 0, and what does not fit into a line of 250 bytes on further sources (2, 3, …; 1 is the
 * position receiver's).
 */
export function shareOut(map: LineMap, digits: readonly ChannelDigits[]): ImportedSource[] {
  const order = map.channels.map((_, i) => i)
  order.sort((a, b) => Number(isUnknown(map, a)) - Number(isUnknown(map, b)) || a - b)
  const sources: { number: number; channels: number[] }[] = [{ number: 0, channels: [] }]
  let bytes = frameBytes
  for (const channel of order) {
    const width = 1 + digits[channel].width
    if (bytes + width > maxLineBytes) {
      sources.push({ number: sources.length + 1, channels: [] })
      bytes = frameBytes
    }
    bytes += width
    sources[sources.length - 1].channels.push(channel)
  }
  return sources
}

const isUnknown = (map: LineMap, channel: number) => slotOf(map.channels[channel].channel) < 0

/** Identity and declarations of a source, as capture lines. */
export function declarationLines(
  map: LineMap,
  { number, channels }: ImportedSource,
  digits: readonly ChannelDigits[],
): string {
  const identity = encodeLine({
    kind: 'identity',
    version: 1,
    boardName: `imported log${map.name ? ` (${map.name})` : ''}`.slice(0, 60),
    firmware: '1',
    uniqueId: `import${number}`,
    ticksPerSecond,
  })
  const declarations = channels.map((channel, index) => {
    const { channel: name, unit } = map.channels[channel]
    const scale = Number(`1e-${digits[channel].decimals}`)
    return encodeLine({ kind: 'channel', index, name, unit, scale, offset: 0 })
  })
  return [identity, ...declarations].map((line) => formatCaptureLine(0, `<${number}`, line)).join('')
}

/** Makes the capture lines of samples, one a source. NaN is no reading. */
export function createSampleLines(
  sources: readonly ImportedSource[],
  digits: readonly ChannelDigits[],
): (timeS: number, values: Float64Array) => string {
  const scales = digits.map(({ decimals }) => 10 ** decimals)
  const integers = sources.map(({ channels }) => new Array<number>(channels.length))
  let seq = 0
  return (timeS, values) => {
    const tick = Math.round(timeS * ticksPerSecond) % tickModulus
    let text = ''
    for (let s = 0; s < sources.length; s++) {
      const { number, channels } = sources[s]
      const row = integers[s]
      for (let k = 0; k < channels.length; k++) {
        const channel = channels[k]
        // A minus sign before nothing is no decimal integer.
        row[k] = Math.round(values[channel] * scales[channel]) + 0
      }
      // A sample's line is plain ASCII: it needs no escaping.
      text += `${timeS.toFixed(6)} <${number} ${encodeLine({ kind: 'sample', seq, tick, values: row })}\n`
    }
    seq = (seq + 1) % seqModulus
    return text
  }
}
