import { describe, expect, it } from 'vitest'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

const channels = declareChannels(['lambda', 'engine_speed', 'throttle', 'manifold_pressure'])

/** Idle for 20 s; then the clutch comes in with the throttle at 40 % and the engine is held down to so many rpm for two seconds, λ going to 1.3. */
function moveOffAt(rpm: number) {
  const count = 40 * 50
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 50)
  const isHeld = (t: number) => t >= 21 && t < 23
  const columns = [
    Float32Array.from(timeS, (t) => (t >= 21.4 && t < 23 ? 1.3 : 0.95)),
    Float32Array.from(timeS, (t) => (isHeld(t) ? rpm : 800)),
    Float32Array.from(timeS, (t) => (isHeld(t) ? 40 : 0)),
    Float32Array.from(timeS, (t) => (isHeld(t) ? 99 : 34)),
  ]
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 800 } } })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result().alarms.filter(({ code }) => code === 'lean_under_load')
}

describe('an engine that dies in gear', () => {
  it('is not lean under load: its manifold fills and its fire goes out', () => {
    expect(moveOffAt(320)).toEqual([])
  })

  it('one that pulls from low down is', () => {
    expect(moveOffAt(1100).length).toBe(1)
  })
})
