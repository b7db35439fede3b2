import { describe, expect, it } from 'vitest'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

const channels = declareChannels(['lambda', 'engine_speed', 'throttle'])

/** Idle for 20 s, then steady driving with so much throttle, at 50 Hz and without a pressure sensor; λ is lean for power all along. */
function steadyDrive(throttlePct: number, rpm: number) {
  const count = 60 * 50
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 50)
  const drives = (t: number) => Math.min(1, Math.max(0, (t - 20) / 4))
  const columns = [
    Float32Array.from(timeS, () => 1.02),
    Float32Array.from(timeS, (t) => 800 + drives(t) * (rpm - 800)),
    Float32Array.from(timeS, (t) => drives(t) * throttlePct),
  ]
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 800 } } })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result().alarms.filter(({ code }) => code === 'lean_under_load')
}

describe('alarms of a car without a pressure sensor', () => {
  it('cry no lean under load at a throttle that a car with a wide carburettor cruises with', () => {
    expect(steadyDrive(42, 2000)).toEqual([])
  })

  it('warn of lean under load when the throttle is wide open', () => {
    expect(steadyDrive(90, 2000).length).toBeGreaterThan(0)
  })
})
