import type { SampleBlock } from '../../core/contract/samples.ts'

export interface AutoRecordOptions {
  /** Engine speed that counts as fired, rpm. Default 400, as the operating states have it. */
  firedRpm?: number
  /** How long it must last to be no glitch, s. Default 0.5, the least length of an operating state. */
  firedS?: number
  /** Below this the engine is off, rpm. Default 50. */
  offRpm?: number
  /** Recording goes on for this long after the engine is off, s. Default 60. */
  afterOffS?: number
}

export const defaultAutoRecord = Object.freeze({ firedRpm: 400, firedS: 0.5, offRpm: 50, afterOffS: 60 })

/**
 * Tells when a run should start by itself (first firing) and end (a minute after the engine went off). Samples without an engine speed
 * change nothing: a board that has none is recorded by hand.
 */
export function createAutoRecord(options: AutoRecordOptions = {}): {
  push(block: SampleBlock): void
  /** What is due now: each answer is given once. */
  due(nowS: number): 'start' | 'stop' | undefined
} {
  const { firedRpm, firedS, offRpm, afterOffS } = { ...defaultAutoRecord, ...options }
  let firedSinceS = Number.NaN
  let lastRunningS = Number.NaN
  let hasRun = false
  let answer: 'start' | 'stop' | undefined
  let channels: SampleBlock['channels'] | undefined
  let column = -1
  return {
    push(block) {
      if (block.channels !== channels) {
        channels = block.channels
        column = channels.findIndex((channel) => channel.name === 'engine_speed')
      }
      if (column < 0) return
      const rpm = block.columns[column]
      for (let i = 0; i < block.count; i++) {
        const value = rpm[i]
        const timeS = block.timeS[i]
        if (value > firedRpm) {
          if (!(firedSinceS <= timeS)) firedSinceS = timeS
          if (timeS - firedSinceS >= firedS && !hasRun) {
            hasRun = true
            answer = 'start'
          }
        } else if (value <= firedRpm) {
          firedSinceS = Number.NaN
        }
        if (value >= offRpm) lastRunningS = timeS
      }
    },
    due(nowS) {
      // Silence of the board counts as off too: it is often fed by the ignition.
      if (hasRun && nowS - lastRunningS > afterOffS) {
        hasRun = false
        firedSinceS = Number.NaN
        answer = 'stop'
      }
      const given = answer
      answer = undefined
      return given
    },
  }
}
