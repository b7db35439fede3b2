import { describe, expect, it } from 'vitest'
import { createSelfIdleFinder } from '../../core/engine/selfIdle.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

/** Where the first idle by itself begins, at 50 moments a second. */
function foundAt(seconds: number, rpmAt: (t: number, i: number) => number): number {
  const finder = createSelfIdleFinder()
  for (let i = 0; i < seconds * 50; i++) finder.atRest(i / 50, rpmAt(i / 50, i), 0.02, 60)
  return finder.fromS
}

describe('idling by itself', () => {
  it('begins with the earliest ten quiet seconds, though speed flared up or drifted before', () => {
    expect(foundAt(20, (t) => (t < 2 ? 1400 : 850))).toBeCloseTo(2.5, 0)
    // Over thirty seconds the drift is too wide, over ten of them it is not.
    expect(foundAt(30, (t) => 700 + 15 * t)).toBeLessThan(1)
  })

  it('is told in spite of a speed that scatters from one ignition pulse to the next', () => {
    expect(foundAt(15, (_, i) => 800 * (i % 3 === 0 ? 1.15 : 0.93))).toBeLessThan(0.5)
  })

  it('is not told of an engine that hunts', () => {
    expect(foundAt(40, (t) => 800 + 160 * Math.sin(t))).toBeNaN()
  })

  it('is told of no drive at a steady speed where the board has no throttle', () => {
    const channels = declareChannels(['lambda', 'engine_speed', 'manifold_pressure', 'coolant'])
    const count = 90 * 50
    const timeS = Float64Array.from({ length: count }, (_, i) => i / 50)
    const at = (t: number) => {
      if (t < 2) return [1, 0, 100]
      if (t < 4) return [1, 200, 92]
      if (t < 9) return [0.95, 850, 34]
      return t < 60 ? [1.02, 2100, 52] : [0.95, 850, 34]
    }
    const columns = [0, 1, 2, 3].map((k) => Float32Array.from(timeS, (t) => (k === 3 ? 85 : at(t)[k])))
    const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 850 } } })
    pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
    expect(pipeline.result().warm_up!.self_idle_s).toBeGreaterThan(50)
  })
})
