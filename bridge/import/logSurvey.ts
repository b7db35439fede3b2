import type { LineMap } from '../../core/line/lineMap.ts'
import type { LineMapCounts } from '../../core/line/lineMapCounts.ts'
import { createLineMapReader } from '../../core/line/lineMapReader.ts'

/** Digits after the point that are kept at most; finer is no sensor. */
const mostDecimals = 9
/** Digits in all: what a double holds, and what a worked-out value (a table, a thermistor) deserves. */
const statedDigits = 15
const derivedDigits = 9

/** How one channel's values are to be written as integers. */
export interface ChannelDigits {
  /** Integer = value × 10^decimals, rounded. */
  decimals: number
  /** Most characters of an integer. */
  width: number
  /** Readings that are numbers. */
  readings: number
}

export interface LogSurvey {
  readonly counts: LineMapCounts
  readonly channels: readonly ChannelDigits[]
  /** Length from the first sample to the last, s. */
  readonly seconds: number
  readonly firstClockS: number
}

/** First pass over a log: what fits, and how many digits each channel needs so that none that is stated gets lost. */
export function createLogSurvey(map: LineMap): { push(bytes: Uint8Array): void; end(): LogSurvey } {
  const count = map.channels.length
  const decimals = new Uint8Array(count)
  const most = new Float64Array(count)
  const readings = new Float64Array(count)
  const isNegative = new Uint8Array(count)
  let lastS = 0
  const reader = createLineMapReader(map, {
    timing: 'file',
    emit: { block() {} },
    row(timeS, values) {
      lastS = timeS
      for (let i = 0; i < count; i++) {
        const value = values[i]
        if (Number.isNaN(value)) continue
        readings[i]++
        const size = Math.abs(value)
        if (size > most[i]) most[i] = size
        if (value < 0) isNegative[i] = 1
        while (decimals[i] < mostDecimals && !isWhole(value, decimals[i])) decimals[i]++
      }
    },
  })
  return {
    push: (bytes) => reader.push(bytes, 0),
    end() {
      reader.flush()
      const channels = map.channels.map(({ transfer }, i): ChannelDigits => {
        const whole = Math.max(1, Math.floor(Math.log10(Math.max(most[i], 1))) + 1)
        const room = (transfer === undefined ? statedDigits : derivedDigits) - whole
        const kept = Math.max(0, Math.min(decimals[i], room))
        return { decimals: kept, width: whole + kept + isNegative[i], readings: readings[i] }
      })
      return { counts: reader.counts, channels, seconds: lastS, firstClockS: reader.firstClockS }
    },
  }
}

const powers = Float64Array.from({ length: mostDecimals + 1 }, (_, n) => 10 ** n)

/** True when the value is a decimal with so many digits after the point. */
function isWhole(value: number, decimals: number): boolean {
  const scale = powers[decimals]
  return Math.round(value * scale) / scale === value
}
