import { describe, expect, it } from 'vitest'
import { createCarLearner } from '../../core/engine/learnedCar.ts'
import { createStateMachine, type EnginePoint, stateNames } from '../../core/engine/operatingState.ts'
import { createSignalConditioner } from '../../core/engine/signalConditioner.ts'
import { defaultStateLimits, stateLimits } from '../../core/engine/stateLimits.ts'

const warm: EnginePoint = {
  timeS: 0,
  rpm: 2000,
  throttlePct: 10,
  mapKpa: 45,
  barometerKpa: 100,
  flowKpa: Number.NaN,
  load: 0.45,
  coolantC: 85,
  intakeAirC: 20,
  roadSpeedMs: 15,
  secondaryPct: 0,
  exhaustC: 600,
}

/** Spans found at 50 points a second. */
function spansOf(
  seconds: number,
  at: (t: number) => Partial<EnginePoint>,
  channels = { throttle: true, pressure: true },
): [string, number, number][] {
  const spans: [string, number, number][] = []
  const machine = createStateMachine({
    limits: defaultStateLimits,
    warmIdleRpm: () => 800,
    hasThrottle: () => channels.throttle,
    hasPressure: () => channels.pressure,
    throttleNeed: () => 1,
    onSpan: (state, startS, endS) => spans.push([stateNames[state], startS, endS]),
  })
  for (let i = 0; i < seconds * 50; i++) machine.push({ ...warm, timeS: i / 50, ...at(i / 50) })
  machine.reset(seconds)
  return spans
}

const names = (spans: [string, number, number][]) => spans.map(([name]) => name)

describe('createStateMachine', () => {
  it('tells a start from off over cranking to idle', () => {
    const spans = spansOf(6, (t) => ({ rpm: t < 1 ? 0 : t < 2.5 ? 220 : 800, throttlePct: 0, load: 0.35 }))
    expect(names(spans)).toEqual(['off', 'cranking', 'idle'])
    expect(spans[1][1]).toBeCloseTo(1, 1)
    expect(spans[2][1]).toBeCloseTo(2.5, 1)
  })

  it('tells cruise, part throttle and power apart by load', () => {
    const spans = spansOf(9, (t) => ({ load: t < 3 ? 0.5 : t < 6 ? 0.7 : 0.95 }))
    expect(names(spans)).toEqual(['cruise', 'part_throttle', 'power'])
  })

  it('lets a state shorter than half a second pass by', () => {
    expect(names(spansOf(5, (t) => ({ load: t > 2 && t < 2.4 ? 0.95 : 0.5 })))).toEqual(['cruise'])
  })

  it('ends overrun as the throttle leaves rest', () => {
    const spans = spansOf(6, (t) => ({
      throttlePct: t > 2 && t < 4 ? 0 : 12,
      load: t > 2 && t < 4 ? 0.22 : 0.5,
    }))
    expect(names(spans)).toEqual(['cruise', 'overrun', 'cruise'])
    expect(spans[2][1]).toBeCloseTo(4, 1)
  })

  it('does not flicker while load trembles at a limit', () => {
    expect(spansOf(20, (t) => ({ load: 0.6 + 0.006 * Math.sin(9 * t) })).length).toBeLessThanOrEqual(2)
  })

  it('says warm-up in place of cruise below 60 °C, and power stays power', () => {
    const spans = spansOf(6, (t) => ({ coolantC: 40, load: t < 3 ? 0.5 : 0.95 }))
    expect(names(spans)).toEqual(['warm_up', 'power'])
  })

  it('tells only idle, overrun and running without throttle and pressure', () => {
    const found = new Set(
      names(
        spansOf(
          12,
          (t) => ({
            throttlePct: Number.NaN,
            load: Number.NaN,
            rpm: t < 4 ? 800 : t < 8 ? 2500 : Math.max(1300, 2500 - 500 * (t - 8)),
          }),
          { throttle: false, pressure: false },
        ),
      ),
    )
    expect([...found].every((name) => ['idle', 'overrun', 'running'].includes(name))).toBe(true)
    expect(found).toContain('idle')
    expect(found).toContain('running')
  })

  it('says running when the board tells no engine speed', () => {
    expect(names(spansOf(2, () => ({ rpm: Number.NaN })))).toEqual(['running'])
  })
})

describe('createCarLearner', () => {
  it('learns the closed throttle, warm idle and air pressure of a car with an offset sensor', () => {
    const learner = createCarLearner(60, 1.5)
    for (let i = 0; i < 3000; i++) {
      const t = i / 50
      const isIdle = t % 20 > 8
      const isOff = t < 3
      const rpm = isOff ? 0 : isIdle ? 760 + 15 * Math.sin(t) : 2300
      learner.add(t, rpm, isIdle ? 3.4 + 0.1 * Math.sin(7 * i) : 18, isOff ? 96.5 : isIdle ? 32 : 55, 85)
    }
    const { throttleRestPct, warmIdleRpm, barometerKpa, barometerFrom } = learner.learned()
    expect(Math.abs(throttleRestPct - 3.4)).toBeLessThan(0.2)
    expect(Math.abs(warmIdleRpm - 760)).toBeLessThan(20)
    expect(barometerFrom).toBe('engine_off')
    expect(barometerKpa).toBeCloseTo(96.5, 1)
  })

  it('takes a long steady cruise for no idle where the board tells no throttle', () => {
    const idleOf = (mapKpa: (isIdle: boolean) => number, cruiseRpm: number) => {
      const learner = createCarLearner(60, 1.5)
      for (let i = 0; i < 400 * 50; i++) {
        const isIdle = i < 10 * 50
        const rpm = isIdle ? 850 + 8 * Math.sin(i / 9) : cruiseRpm + 15 * Math.sin(i / 40)
        learner.add(i / 50, rpm, Number.NaN, mapKpa(isIdle), 85)
      }
      return learner.learned().warmIdleRpm
    }
    expect(idleOf(() => Number.NaN, 2300)).toBeCloseTo(850, -1)
    expect(idleOf((isIdle) => (isIdle ? 34 : 48), 2300)).toBeCloseTo(850, -1)
    expect(idleOf((isIdle) => (isIdle ? 34 : 55), 1250)).toBeCloseTo(850, -1)
  })

  it('takes a fast idle for no neutral where engine speed alone is told', () => {
    const idleOf = (slowRpm: number, fastRpm: number) => {
      const learner = createCarLearner(60, 1.5)
      for (let i = 0; i < 100 * 50; i++) {
        const rpm = (i < 60 * 50 ? fastRpm : slowRpm) + 8 * Math.sin(i / 9)
        learner.add(i / 50, rpm, Number.NaN, Number.NaN, Number.NaN)
      }
      return learner.learned().warmIdleRpm
    }
    expect(idleOf(880, 1170)).toBeCloseTo(880, -1)
    expect(idleOf(700, 830)).toBeCloseTo(830, -1)
  })

  it('says so when the air pressure is only assumed', () => {
    expect(createCarLearner(60, 1.5).learned()).toMatchObject({
      barometerKpa: 101.325,
      barometerFrom: 'assumed',
    })
  })
})

describe('createSignalConditioner', () => {
  it('removes single and double spikes of the throttle without moving its edges', () => {
    const seen: [number, number][] = []
    const conditioner = createSignalConditioner(() => seen.push([conditioner.timeS, conditioner.throttlePct]))
    for (let i = 0; i < 400; i++) {
      const spike = i === 100 || i === 150 || i === 151 ? 60 : 0
      conditioner.push(i / 100, 2000, (i < 200 ? 10 : 40) + spike, 50)
    }
    conditioner.flush()
    const before = seen.filter(([t]) => t < 1.9).map(([, value]) => value)
    expect(Math.max(...before)).toBeLessThan(10.5)
    const crossing = seen.find(([, value]) => value > 25)!
    expect(Math.abs(crossing[0] - 2)).toBeLessThan(0.03)
  })
})

describe('samples far apart', () => {
  const highest = (throttle: readonly number[]) => {
    const seen: number[] = []
    const conditioner = createSignalConditioner(() => seen.push(conditioner.throttlePct))
    for (const [i, value] of throttle.entries()) conditioner.push(i / 20, 2000, value, 50)
    conditioner.flush()
    return Math.max(...seen)
  }

  it('keep a blip of the foot, which rises or falls over two of them', () => {
    expect(highest([2, 2, 2, 2, 9, 18, 8, 4, 3, 2, 2])).toBeGreaterThan(12)
  })

  it('still lose a spike on level ground', () => {
    expect(highest([2, 2, 2, 2, 2, 18, 2, 2, 2, 2, 2])).toBeLessThan(3)
  })
})

describe('stateLimits', () => {
  it('lets the profile change a limit by its name and passes over what it does not know', () => {
    const limits = stateLimits({ power_load: 0.8, nonsense: 3 })
    expect(limits.power_load).toBe(0.8)
    expect(limits.cruise_load).toBe(defaultStateLimits.cruise_load)
    expect('nonsense' in limits).toBe(false)
  })
})
