import { describe, expect, it } from 'vitest'
import { measurePulls } from '../../core/road/measurePulls.ts'
import type { PullSamples } from '../../core/road/pulls.ts'

const massKg = 1300
const air = { temperature_C: 25, pressure_kPa: 100, humidity_pct: 0 }
/** A car of no drag to speak of, so that power is mass × acceleration × speed. */
const car = {
  id: 'test',
  mass_kg: massKg,
  road_load: { drag_area_m2: 0.01, rolling_coefficient: 0.0001 },
}
const accelerationMs2 = 1.5

function pull(rpmAt: (speedMs: number) => number): PullSamples {
  const timeS = Array.from({ length: 140 }, (_, i) => i * 0.05)
  const roadSpeedMs = timeS.map((t) => 18 + accelerationMs2 * t)
  return {
    timeS,
    roadSpeedMs,
    rpm: roadSpeedMs.map(rpmAt),
    lambda: timeS.map(() => 0.88),
    intakeAirC: timeS.map(() => Number.NaN),
    barometerKpa: timeS.map(() => Number.NaN),
  }
}

const peakOf = (samples: PullSamples) => measurePulls([samples], { car, air, powerTargetLambda: 0.87 })[0]

describe('measurePulls', () => {
  it('tells wheel power from engine speed in a fixed gear', () => {
    const { peak_kW, correction_factor } = peakOf(pull((v) => 150 * v)) as ReturnType<typeof peakOf> & {
      correction_factor: number
    }
    const wanted = ((massKg * accelerationMs2 * 27.5) / 1000) * correction_factor
    expect(Math.abs(peak_kW! / wanted - 1)).toBeLessThan(0.08)
  })

  it('tells it from road speed where a converter slips', () => {
    const { peak_kW, correction_factor } = peakOf(pull((v) => 3000 + 60 * v)) as ReturnType<typeof peakOf> & {
      correction_factor: number
    }
    const wanted = ((massKg * accelerationMs2 * 27.5) / 1000) * correction_factor
    expect(Math.abs(peak_kW! / wanted - 1)).toBeLessThan(0.08)
  })

  it('takes no moment of noise at the very end for the peak', () => {
    const whole = pull((v) => 150 * v)
    // Two samples that may tell power lie in the last step of engine speed; one wild reading comes after them.
    const cut = (values: number[]) => values.slice(0, 131)
    const { timeS, rpm, lambda, roadSpeedMs, intakeAirC, barometerKpa } = whole
    const shorter = { ...whole, timeS: cut(timeS), lambda: cut(lambda), roadSpeedMs: cut(roadSpeedMs) }
    const samples = { ...shorter, intakeAirC: cut(intakeAirC), barometerKpa: cut(barometerKpa) }
    const steady = peakOf({ ...samples, rpm: cut(rpm) }).peak_kW!
    const noisy = peakOf({ ...samples, rpm: cut(rpm).map((each, n) => (n === 130 ? each + 60 : each)) })
    const curve = noisy.curve as { wheel_kW: number | null }[]
    expect(noisy.peak_kW! / steady).toBeLessThan(1.05)
    expect(Math.max(...curve.map(({ wheel_kW }) => wheel_kW ?? 0))).toBeGreaterThan(1.1 * steady)
  })
})
