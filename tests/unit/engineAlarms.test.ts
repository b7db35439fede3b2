import { describe, expect, it } from 'vitest'
import type { AlarmEntry } from '../../core/contract/result.ts'
import { defaultAlarmLimits } from '../../core/engine/alarmLimits.ts'
import { type AlarmInput, createAlarms } from '../../core/engine/alarms.ts'
import { stateCode } from '../../core/engine/operatingState.ts'
import { createTargetFinder } from '../../core/engine/targetLambda.ts'

const calm: AlarmInput = {
  timeS: 0,
  state: stateCode.power,
  isSettled: true,
  isCalm: true,
  isOnMain: true,
  lambda: 0.87,
  hasNewLambda: true,
  isWarm: true,
  isSensorFault: false,
  rpm: 3000,
  exhaustC: Number.NaN,
  coolantC: Number.NaN,
  oilKpa: Number.NaN,
  fuelKpa: Number.NaN,
  barometerKpa: 100,
  supplyV: Number.NaN,
}

/** Runs λ over time in one state at 100 Hz; the log of ended alarms and the times of switching. */
function run(seconds: number, change: (t: number) => Partial<AlarmInput>) {
  const log: AlarmEntry[] = []
  const alarms = createAlarms(defaultAlarmLimits, createTargetFinder(undefined, 60), (entry) =>
    log.push(entry),
  )
  const onAt: Record<string, number> = {}
  const offAt: Record<string, number> = {}
  let active = new Set<string>()
  for (let i = 0; i <= seconds * 100; i++) {
    const timeS = i / 100
    alarms.step({ ...calm, timeS, ...change(timeS) })
    const now = new Set(alarms.active().map(({ code }) => code))
    for (const code of now) if (!active.has(code)) onAt[code] ??= timeS
    for (const code of active) if (!now.has(code)) offAt[code] = timeS
    active = now
  }
  alarms.finish(seconds)
  return { log, onAt, offAt }
}

describe('createAlarms', () => {
  it('warns of lean under load 300 to 450 ms after the first bad sample', () => {
    const { onAt } = run(4, (t) => ({ lambda: t >= 1 ? 0.96 : 0.87 }))
    expect(onAt.lean_under_load).toBeGreaterThanOrEqual(1.3)
    expect(onAt.lean_under_load).toBeLessThanOrEqual(1.45)
  })

  it('notes no rich power while the choke may still feed, but lean under load at any temperature', () => {
    expect(run(20, () => ({ lambda: 0.78, isWarm: false })).log).toEqual([])
    expect(run(20, () => ({ lambda: 0.78 })).log.map(({ code }) => code)).toEqual(['rich_in_power'])
    expect(run(4, () => ({ lambda: 0.97, isWarm: false })).onAt.lean_under_load).toBeLessThan(0.5)
  })

  it('takes a spike of 200 ms for nothing', () => {
    expect(run(4, (t) => ({ lambda: t >= 1 && t < 1.2 ? 0.99 : 0.87 })).log).toEqual([])
  })

  it('warns at most once while λ chatters around the limit for a minute', () => {
    const { log } = run(60, (t) => ({ lambda: 0.93 + 0.01 * Math.sin(20 * t) }))
    expect(log.filter(({ code }) => code === 'lean_under_load').length).toBeLessThanOrEqual(1)
  })

  it('clears 1.0 to 1.3 s after λ fell below the limit less its deadband', () => {
    const { offAt } = run(6, (t) => ({ lambda: t >= 1 && t < 3 ? 0.96 : 0.87 }))
    expect(offAt.lean_under_load).toBeGreaterThanOrEqual(4)
    expect(offAt.lean_under_load).toBeLessThanOrEqual(4.3)
  })

  it('tells no caution of the pump shot after an opening, but warns of lean under load', () => {
    const opening = (t: number) => ({ isCalm: t >= 3, lambda: t < 3 ? 0.76 : 0.87 })
    expect(run(6, opening).log).toEqual([])
    const lean = run(6, (t) => ({ isCalm: false, lambda: t >= 1 ? 0.97 : 0.87 }))
    expect(lean.onAt.lean_under_load).toBeLessThanOrEqual(1.45)
    expect(lean.onAt.lean_in_power).toBeUndefined()
  })

  it('tells a caution of the mixture of cruise, not of a place in its map that is out of the band for a few seconds', () => {
    const cruise = (lambda: (t: number) => number) =>
      run(60, (t) => ({ state: stateCode.cruise, lambda: lambda(t) }))
    expect(cruise((t) => (t % 20 < 3 ? 0.95 : 1.01)).log).toEqual([])
    expect(cruise((t) => ((t + 10) % 20 < 5 ? 0.95 : 1.01)).log).toEqual([])
    expect(cruise((t) => (t < 30 ? 1.02 : 1.12)).onAt.lean_in_cruise).toBeLessThan(45)
  })

  it('tells a caution of cruise the sooner the farther its mixture is out of the band', () => {
    const onAt = (lambda: number) => run(60, () => ({ state: stateCode.cruise, lambda })).onAt
    expect(onAt(0.9).rich_in_cruise).toBeLessThan(3.2)
    expect(onAt(0.9).rich_in_cruise).toBeGreaterThan(2.9)
    expect(onAt(0.966).rich_in_cruise).toBeGreaterThan(3.9)
    expect(onAt(0.966).rich_in_cruise).toBeLessThan(4.9)
    expect(onAt(1.14).lean_in_cruise).toBeLessThan(3.2)
  })

  it('ends a caution within three seconds of λ being back in its band', () => {
    const cruise = (lambda: (t: number) => number) =>
      run(60, (t) => ({ state: stateCode.cruise, lambda: lambda(t) + 0.01 * Math.sin(40 * t) }))
    expect(cruise((t) => (t < 30 ? 0.93 : 1.02)).offAt.rich_in_cruise).toBeLessThan(33)
    expect(cruise((t) => (t < 30 ? 1.11 : 1.02)).offAt.lean_in_cruise).toBeLessThan(33)
    const power = run(60, (t) => ({ lambda: t < 30 ? 0.78 : 0.87 }))
    expect(power.offAt.rich_in_power).toBeLessThan(33)
    expect(power.offAt.rich_in_power).toBeGreaterThan(31.9)
  })

  it('raises no caution when λ is back in its band already', () => {
    const { log } = run(60, (t) => ({ state: stateCode.cruise, lambda: t < 2.5 ? 0.9 : 1.02 }))
    expect(log).toEqual([])
  })

  it('tells no caution of cruise while the idle circuit still feeds', () => {
    expect(run(60, () => ({ state: stateCode.cruise, isOnMain: false, lambda: 0.94 })).log).toEqual([])
  })

  it('tells the same caution once in ten minutes at the most, then less often', () => {
    const { log } = run(2400, (t) => ({ lambda: t % 60 < 30 ? 0.78 : 0.87 }))
    expect(log.filter(({ code }) => code === 'rich_in_power').length).toBe(3)
  })

  it('does not warn of a reading that is only held from the state before', () => {
    const { log, onAt } = run(4, (t) => ({
      state: t < 1 ? stateCode.overrun : stateCode.power,
      isSettled: t < 1 || t > 1.2,
      lambda: t < 1.7 ? 1.7 : Number.NaN,
      hasNewLambda: t < 1,
    }))
    expect(onAt).toEqual({})
    expect(log).toEqual([])
  })

  it('does not carry the λ of overrun into the judgement of power', () => {
    const { onAt } = run(6, (t) => ({
      state: t < 2 ? stateCode.overrun : stateCode.power,
      isSettled: t < 2 || t > 2.2,
      lambda: t < 2.2 ? 1.7 : 0.87,
    }))
    expect(onAt).toEqual({})
  })

  it('warns of a lasting lean though single noisy readings lie under the limit', () => {
    const { onAt } = run(4, (t) => ({ lambda: t < 1 ? 0.87 : Math.round(100 * t) % 10 === 5 ? 0.92 : 0.96 }))
    expect(onAt.lean_under_load).toBeLessThan(1.5)
  })

  it('takes no spike of a single reading for the worst', () => {
    const spiky = (t: number) => (Math.round(100 * t) % 50 === 7 ? 1.4 : t >= 1 && t < 3 ? 0.97 : 0.87)
    const { log } = run(6, (t) => ({ lambda: spiky(t) }))
    expect(log.map(({ code, worst }) => [code, worst])).toEqual([['lean_under_load', 0.97]])
  })

  it('logs first, last and worst of a warning', () => {
    const { log } = run(6, (t) => ({ lambda: t >= 1 && t < 2 ? 0.95 : t >= 2 && t < 3 ? 0.98 : 0.87 }))
    expect(log).toContainEqual({
      code: 'lean_under_load',
      priority: 'warning',
      start_s: 1,
      end_s: 3,
      worst: 0.98,
    })
  })

  it('says of an alarm that still waits for its end since when it no longer holds', () => {
    const alarms = createAlarms(defaultAlarmLimits, createTargetFinder(undefined, 60), () => {})
    const endAt = (untilS: number, lambda: number, fromS: number) => {
      for (let i = fromS * 100; i < untilS * 100; i++) alarms.step({ ...calm, timeS: i / 100, lambda })
      return alarms.active().map(({ endS }) => endS)
    }
    expect(endAt(2, 0.97, 0)).toEqual([Number.NaN])
    expect(endAt(2.5, 0.87, 2)).toEqual([2])
    expect(endAt(3, 0.97, 2.5)).toEqual([Number.NaN])
  })

  it('is silent on mixture without trusted λ, outside the power state, and before the gas has arrived', () => {
    const mixture = (change: Partial<AlarmInput>) =>
      run(5, () => ({ lambda: 0.99, ...change })).log.filter(({ code }) => code.includes('lean'))
    expect(mixture({ lambda: Number.NaN })).toEqual([])
    expect(mixture({ state: stateCode.overrun })).toEqual([])
    expect(mixture({ isSettled: false })).toEqual([])
  })

  it('raises low oil pressure only with the engine over its speed limit', () => {
    const oil = (rpm: number) => run(2, () => ({ oilKpa: 130, rpm })).onAt.oil_pressure_low
    expect(oil(800)).toBeUndefined()
    expect(oil(2500)).toBeGreaterThan(0.25)
  })

  it('tells of silence after two seconds and ends the mixture alarms with the last sample', () => {
    const log: AlarmEntry[] = []
    const alarms = createAlarms(defaultAlarmLimits, createTargetFinder(undefined, 60), (entry) =>
      log.push(entry),
    )
    for (let i = 0; i <= 100; i++) alarms.step({ ...calm, timeS: i / 100, lambda: 0.97 })
    alarms.advance(2.5)
    expect(alarms.active().map(({ code }) => code)).toEqual(['lean_under_load'])
    alarms.advance(3)
    expect(alarms.active().map(({ code }) => code)).toEqual(['no_samples'])
    expect(log[0]).toMatchObject({ code: 'lean_under_load', end_s: 1 })
  })
})
