import { describe, expect, it } from 'vitest'
import type { RunAnalysis } from '../../core/contract/result.ts'
import type { ChannelDeclaration } from '../../core/contract/samples.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { ROTATING_SHARE } from '../../core/road/roadLoad.ts'

const massKg = 1200
const metresPerRpm = 1 / 150
const risePerS = 400

/** At 100 Hz: cruise at 2000 rpm, then full throttle from 10 s on until 4400 rpm, in one gear. */
function analysisOfPull(): RunAnalysis {
  const names = ['lambda', 'engine_speed', 'throttle', 'manifold_pressure', 'coolant', 'road_speed']
  const units = ['1', 'rpm', '%', 'kPa', 'C', 'm/s']
  const channels = names.map(
    (name, index): ChannelDeclaration => ({ index, name, unit: units[index], scale: 1, offset: 0 }),
  )
  const count = 2000
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 100)
  const of = (at: (t: number) => number) => Float32Array.from(timeS, at)
  const isPull = (t: number) => t >= 10 && t < 16
  const rpm = (t: number) => (isPull(t) ? 2000 + risePerS * (t - 10) : 2000)
  const columns = [
    of(() => 0.9),
    of(rpm),
    of((t) => (isPull(t) ? 95 : 12)),
    of((t) => (isPull(t) ? 98 : 48)),
    of(() => 85),
    of((t) => rpm(t) * metresPerRpm),
  ]
  const pipeline = createPipeline({
    car: {
      id: 'test',
      mass_kg: massKg,
      road_load: { drag_area_m2: 0.01, rolling_coefficient: 0.0001 },
      delay: { a_s: 0.1, b_s_rpm_kPa: 0, events_used: 500 },
    },
  })
  pipeline.push({
    source: 0,
    segment: 0,
    channels,
    count,
    timeS,
    columns,
  })
  return pipeline.analysis()
}

describe('a pull through the whole chain', () => {
  it('lays road speed at the moment it was read: power is mass × acceleration × speed, not that of a moment later', () => {
    const pull = analysisOfPull().result.pulls[0] as unknown as Record<string, unknown>
    const curve = pull.curve as { rpm: number; wheel_kW: number | null }[]
    const factor = (pull.correction_factor as number | null) ?? 1
    const middle = curve.filter(({ rpm }) => rpm > 2400 && rpm < 4000)
    expect(middle.length).toBeGreaterThan(5)
    for (const { rpm, wheel_kW } of middle) {
      const speedMs = rpm * metresPerRpm
      const wanted = (massKg * (1 + ROTATING_SHARE) * risePerS * metresPerRpm * speedMs * factor) / 1000
      expect(Math.abs(wheel_kW! / wanted - 1)).toBeLessThan(0.006)
    }
  })

  it('tells of each steady second how fast the car was', () => {
    const before = analysisOfPull().pieces.filter(({ timeS }) => timeS < 9)
    expect(before.length).toBeGreaterThan(3)
    for (const { roadSpeedMs } of before) expect(roadSpeedMs).toBeCloseTo(2000 * metresPerRpm, 3)
  })
})
