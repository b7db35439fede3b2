import { scanCapture } from '../../core/capture/scanCapture.ts'
import type { MixtureState } from '../../core/contract/result.ts'
import { lambdaFromPumpCurrent } from '../../core/sensing/pumpCurrent.ts'

/** What a plain script makes of a run. */
export interface PlainResult {
  readonly lambda: Partial<Record<MixtureState, number>>
  readonly tipIns: number[]
  readonly states: { timeS: number; state: MixtureState | 'overrun' | 'off' }[]
}

/**
 * The usual evening's script, for comparison: thresholds as the trade states them on raw readings, medians of the seconds in which the throttle moved
 * less than 3 %, no transport delay, no gain, an opening wherever two readings a tenth of a second apart rise at over 40 %/s.
 */
export function analysePlainly(bytes: Uint8Array, idleRpm: number): PlainResult {
  const segment = scanCapture(bytes).segments.at(-1)
  if (!segment) return { lambda: {}, tipIns: [], states: [] }
  const column = (name: string) =>
    segment.columns[segment.channels.findIndex((channel) => channel.name === name)]
  const current = column('pump_current')
  const throttle = column('throttle')
  const rpm = column('engine_speed')
  const map = column('manifold_pressure')
  const { timeS } = segment
  const byState = new Map<MixtureState, number[]>()
  const tipIns: number[] = []
  const states: PlainResult['states'] = []
  const rateHz = (timeS.length - 1) / (timeS[timeS.length - 1] - timeS[0])
  const second = Math.max(1, Math.round(rateHz))
  const tenth = Math.max(1, Math.round(rateHz / 10))
  let quietUntilS = 0
  for (let i = second; i < timeS.length; i++) {
    const load = map ? map[i] / 101.3 : Number.NaN
    const isAtRest = throttle ? throttle[i] < 1.5 : false
    const state =
      rpm[i] < 50
        ? 'off'
        : isAtRest
          ? rpm[i] < 1.4 * idleRpm
            ? 'idle'
            : 'overrun'
          : load < 0.6
            ? 'cruise'
            : load <= 0.85
              ? 'part_throttle'
              : 'power'
    states.push({ timeS: timeS[i], state })
    if (!throttle || !current) continue
    if (throttle[i] - throttle[i - tenth] > 4 && timeS[i] > quietUntilS) {
      let last = i
      while (last + 1 < timeS.length && throttle[last + 1] > throttle[last]) last++
      if (throttle[last] - throttle[i - tenth] > 8) tipIns.push(timeS[i - tenth])
      quietUntilS = timeS[last]
    }
    let least = throttle[i]
    let most = least
    for (let k = i - second; k < i; k += tenth) {
      least = Math.min(least, throttle[k])
      most = Math.max(most, throttle[k])
    }
    const lambda = lambdaFromPumpCurrent(current[i])
    if (most - least >= 3 || Number.isNaN(lambda) || state === 'off' || state === 'overrun') continue
    const list = byState.get(state) ?? []
    list.push(lambda)
    byState.set(state, list)
  }
  const lambda: PlainResult['lambda'] = {}
  for (const [state, values] of byState) {
    values.sort((a, b) => a - b)
    lambda[state] = values[values.length >> 1]
  }
  return { lambda, tipIns, states }
}
