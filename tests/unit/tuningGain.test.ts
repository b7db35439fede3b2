import { expect, it } from 'vitest'
import type { AnalysisResult } from '../../core/contract/result.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { pumpCurrentFromLambda } from '../../core/sensing/pumpCurrent.ts'
import { declareChannels } from '../support/declareChannels.ts'

const channels = declareChannels(['pump_current', 'engine_speed', 'throttle', 'manifold_pressure'], 0.001)

/** A minute of full load at one λ. */
function fullLoad(lambda: number, freeAirMa: number | undefined): AnalysisResult {
  const count = 60 * 50
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 50)
  const columns = [pumpCurrentFromLambda(lambda), 3000, 80, 97].map((value) =>
    new Float32Array(count).fill(value),
  )
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 800 } } })
  if (freeAirMa !== undefined) {
    pipeline.record(0, { type: 'free_air', bank: 1, current_mA: freeAirMa })
  }
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result()
}

function width(lambda: number, freeAirMa: number | undefined): number {
  const [low, high] = fullLoad(lambda, freeAirMa).mixture.power!.ci95!
  return high - low
}

it('a sensor is told to be aged by its record in air alone', () => {
  const codes = (ma: number | undefined) => fullLoad(0.85, ma).trust.hints.map(({ code }) => code)
  expect(codes(2.8)).toContain('sensor_aged')
  expect(codes(2.54)).not.toContain('sensor_aged')
  expect(codes(undefined)).not.toContain('sensor_aged')
})

it('the interval of a sensor that was never checked in air allows for its gain', () => {
  // 2.54 mA is the current of a sensor that has not aged at all: checked too.
  for (const checked of [2.54, 2.55]) {
    expect(width(0.85, undefined)).toBeGreaterThan(width(0.85, checked) + 0.003)
  }
})

it('near zero pump current the gain does not matter', () => {
  expect(width(1.003, undefined)).toBeCloseTo(width(1.003, 2.55), 3)
})
