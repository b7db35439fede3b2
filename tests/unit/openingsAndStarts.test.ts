import { describe, expect, it } from 'vitest'
import type { CarProfile } from '../../core/contract/car.ts'
import type { AnalysisResult } from '../../core/contract/result.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

interface Moment {
  lambda: number
  rpm: number
  throttle: number
  map: number
  coolant?: number
}

/** A made-up run at 100 Hz whose λ is seen at the moment that caused it. */
function analyse(seconds: number, at: (t: number) => Moment, car: Partial<CarProfile> = {}): AnalysisResult {
  const channels = declareChannels(['lambda', 'engine_speed', 'throttle', 'manifold_pressure', 'coolant'])
  const count = seconds * 100
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 100)
  const moments = Array.from(timeS, at)
  const columns = [
    Float32Array.from(moments, ({ lambda }) => lambda),
    Float32Array.from(moments, ({ rpm }) => rpm),
    Float32Array.from(moments, ({ throttle }) => throttle),
    Float32Array.from(moments, ({ map }) => map),
    Float32Array.from(moments, ({ coolant }) => coolant ?? 85),
  ]
  const delay = { a_s: 0, b_s_rpm_kPa: 0, events_used: 500 }
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 800 }, delay, ...car } })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result()
}

const tipIns = (result: AnalysisResult) => result.transients.filter(({ kind }) => kind === 'tip_in')

describe('an opening', () => {
  /** Idle, then at 10 s a cruise, then at 20 s the foot as given by the seconds since. */
  const withFoot = (foot: (s: number) => number) =>
    analyse(26, (t) => ({
      lambda: 1,
      rpm: t < 10 ? 800 : 2000,
      throttle: t < 10 ? 0 : 12 + (t < 20 ? 0 : foot(t - 20)),
      map: t < 10 ? 33 : 50,
    }))

  it('that is quick for a moment and goes on slowly counts with its whole size', () => {
    const found = tipIns(withFoot((s) => Math.min(4.5, 150 * s) + Math.min(6, 22 * Math.max(0, s - 0.03))))
    const event = found.find(({ start_s }) => start_s > 15)
    expect(event?.start_s).toBeCloseTo(20, 1)
    expect(Number(event?.size)).toBeGreaterThan(9)
  })

  it('begins at its fast part, after a foot that crept', () => {
    const found = tipIns(withFoot((s) => Math.min(15, 18 * s) + Math.min(20, 150 * Math.max(0, s - 0.8))))
    const event = found.find(({ start_s }) => start_s > 15)
    expect(event!.start_s).toBeGreaterThan(20.7)
    expect(event!.start_s).toBeLessThan(20.9)
  })
})

describe('lean some while after a wide opening', () => {
  const wide = (car: Partial<CarProfile>, rpm = 2400) => {
    const found = tipIns(
      analyse(
        30,
        (t) => {
          const since = t - 20
          const open = Math.min(1, Math.max(0, since / 0.4))
          return {
            lambda: since > 0.5 && since < 0.8 ? 1.05 : t < 10 ? 0.95 : since < 0 ? 1.02 : 0.87,
            rpm: t < 10 ? 800 : rpm,
            throttle: t < 10 ? 0 : 12 + 70 * open,
            map: t < 10 ? 33 : 48 + 50 * open,
          }
        },
        car,
      ),
    )
    return found.find(({ start_s }) => start_s > 15)?.pattern
  }

  it('is laid to the secondaries of a car that has them', () => {
    expect(wide({ circuits: ['idle', 'main', 'power', 'secondary', 'pump'] })).toBe('lean_at_secondary')
  })

  it('is the pump’s where too little air flows for them to open', () => {
    expect(wide({ circuits: ['idle', 'main', 'power', 'secondary', 'pump'] }, 1900)).toBe('lean_later')
  })

  it('is the pump’s of a car without', () => {
    expect(wide({ circuits: ['idle', 'main', 'power', 'pump'] })).toBe('lean_later')
  })
})

describe('a start', () => {
  /** Cranks from 2 to 3 s, then runs; from 30 s on as given. */
  const started = (rpmAfter: (t: number) => number) =>
    analyse(60, (t) => ({
      lambda: 0.85,
      rpm: t < 2 ? 0 : t < 3 ? 200 : t < 30 ? 1200 : rpmAfter(t),
      throttle: 0,
      map: t < 2 ? 99 : 36,
      coolant: 20 + t / 3,
    })).warm_up

  it('that dies is a stall, though the starter catches the engine before it stands', () => {
    const warmUp = started((t) => (t < 30.2 ? 140 : t < 31.2 ? 210 : 1200))
    expect(warmUp?.stalls).toBe(1)
    expect(warmUp?.restarts).toBe(1)
  })

  it('that is ended by the key is no stall', () => {
    expect(started((t) => Math.max(0, 1200 - 800 * (t - 30)))?.stalls).toBe(0)
  })
})
