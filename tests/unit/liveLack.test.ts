import { expect, test } from 'vitest'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

const rateHz = 50
const channels = declareChannels(['lambda', 'engine_speed', 'throttle'])

/** A board at idle for 20 s whose mixture comes for so many of them. */
function idleWithMixtureFor(seconds: number) {
  const count = 20 * rateHz
  const timeS = Float64Array.from({ length: count }, (_, i) => i / rateHz)
  const pipeline = createPipeline()
  pipeline.push({
    source: 0,
    segment: 0,
    channels,
    count,
    timeS,
    columns: [
      Float32Array.from(timeS, (t) => (t < seconds ? 0.95 : Number.NaN)),
      new Float32Array(count).fill(800),
      new Float32Array(count),
    ],
  })
  return pipeline
}

test('a board that goes on without the mixture lacks a reading, one that sends nothing lacks data', () => {
  const pipeline = idleWithMixtureFor(15)
  expect(pipeline.live().banks[0].untrusted).toBe('no_sensor')
  pipeline.advance(25)
  expect(pipeline.live().banks[0].untrusted).toBe('gap')
  expect(idleWithMixtureFor(20).live().banks[0].untrusted).toBeUndefined()
})
