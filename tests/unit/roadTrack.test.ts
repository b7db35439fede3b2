import { describe, expect, it } from 'vitest'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { measurePulls } from '../../core/road/measurePulls.ts'
import { createDistance, createRoadTrack } from '../../core/road/roadTrack.ts'

const channels = ['road_speed', 'altitude'].map((name, index) => ({
  index,
  name,
  unit: index === 0 ? 'm/s' : 'm',
  scale: 1,
  offset: 0,
}))

/** A receiver once a second at 20 m/s on a slope, its heights off by up to two metres. */
function climb(gradePct: number, seconds: number): SampleBlock {
  const timeS = Float64Array.from({ length: seconds }, (_, i) => i)
  const heights = Float32Array.from(timeS, (t) => 300 + (20 * t * gradePct) / 100 + 2 * Math.sin(t / 3))
  return {
    source: 1,
    segment: 0,
    channels,
    count: seconds,
    timeS,
    columns: [new Float32Array(seconds).fill(20), heights],
  }
}

describe('createRoadTrack', () => {
  it.each([0, 4, -6])('finds a slope of %s %% from noisy heights', (gradePct) => {
    const track = createRoadTrack()
    track.add(climb(gradePct, 60))
    expect(Math.abs(track.gradePct(20, 32) - gradePct)).toBeLessThan(1)
  })

  it('says nothing without heights, over too little road, or of a slope that no road has', () => {
    const track = createRoadTrack()
    expect(track.gradePct(0, 10)).toBeNaN()
    track.add(climb(4, 5))
    expect(track.gradePct(0, 5)).toBeNaN()
    const steep = createRoadTrack()
    steep.add(climb(60, 60))
    expect(steep.gradePct(20, 32)).toBeNaN()
  })

  it('gives the same however the blocks are cut', () => {
    const whole = createRoadTrack()
    const cut = createRoadTrack()
    const block = climb(3, 40)
    whole.add(block)
    for (let i = 0; i < block.count; i++) {
      cut.add({
        ...block,
        count: 1,
        timeS: block.timeS.subarray(i, i + 1),
        columns: block.columns.map((column) => column.subarray(i, i + 1)),
      })
    }
    expect(cut.gradePct(10, 30)).toBe(whole.gradePct(10, 30))
  })
})

describe('createDistance', () => {
  it('joins speeds by straight lines, and leaves silences and missing readings out', () => {
    const distance = createDistance()
    for (const [timeS, speedMs] of [
      [0, 10],
      [1, 20],
      [2, Number.NaN],
      [3, 20],
      [13, 20],
      [14, 20],
    ])
      distance.add(timeS, speedMs)
    // 15 m, then 40 m over two seconds, nothing over ten, then 20 m.
    expect(distance.metres()).toBeCloseTo(75, 9)
  })
})

describe('measurePulls on a slope', () => {
  const samples = Array.from({ length: 120 }, (_, i) => i * 0.05)
  const pull = {
    timeS: samples,
    rpm: samples.map((t) => 2000 + 300 * t),
    lambda: samples.map(() => 0.87),
    roadSpeedMs: samples.map((t) => (2000 + 300 * t) / 100),
    intakeAirC: samples.map(() => 20),
    barometerKpa: samples.map(() => 100),
  }
  const car = { id: 'marigold', mass_kg: 1500 }
  const air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 }
  const peak = (gradePct?: number) =>
    measurePulls([pull], {
      car,
      air,
      powerTargetLambda: 0.87,
      ...(gradePct === undefined ? {} : { gradePct: () => gradePct }),
    })[0]

  it('counts the work of climbing: mass × g × slope × speed', () => {
    const level = peak()
    const uphill = peak(4)
    expect(level.road).toBe('taken as level')
    expect(uphill['grade_pct']).toBe(4)
    const speedMs = uphill.peak_at_rpm! / 100
    const climbKw = (1500 * 9.80665 * Math.sin(Math.atan(0.04)) * speedMs) / 1000
    const factor = uphill['correction_factor'] as number
    expect(uphill.peak_kW! - level.peak_kW!).toBeCloseTo(climbKw * factor, 0)
  })

  it('takes the road as level where the slope is not known', () => {
    expect(peak(Number.NaN)).toEqual(peak())
  })
})
