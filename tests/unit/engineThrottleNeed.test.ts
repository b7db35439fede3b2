import { describe, expect, it } from 'vitest'
import { throttleLoad, throttleQuickness } from '../../core/engine/throttleLoad.ts'
import { createThrottleNeedLearner, type ThrottleNeedLearner } from '../../core/engine/throttleNeed.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { lessonsOf } from '../../dashboard/parts/run/runLessons.ts'
import { findCar } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'

const HZ = 50

/**
 * Drives in one gear after another on a road that rises and falls: the foot goes to another throttle each two seconds, and engine speed rises by the
 * load that it makes, as slowly as a car does.
 */
function drive(
  learner: ThrottleNeedLearner,
  need: number,
  { throttles = [8, 20, 45, 75, 30, 12], seconds = 300, gearS = 14 } = {},
): ThrottleNeedLearner {
  let rpm = 1500
  let opened = 0
  for (let i = 0; i < seconds * HZ; i++) {
    const t = i / HZ
    const inGear = t % gearS
    // The clutch, with the throttle shut.
    if (inGear < 0.5) {
      opened = 0
      rpm = Math.max(1500, rpm * 0.995)
      learner.add(t, rpm, 0)
      continue
    }
    const reach = 250 + 150 * (Math.floor(t / gearS) % 3)
    const throttlePct = throttles[Math.floor(t / 2) % throttles.length]
    opened += (throttlePct - opened) / (0.1 * HZ)
    const load = throttleLoad(opened / (need * throttleQuickness(rpm)))
    const hill = 40 * Math.sin(t / 17)
    rpm += (reach * (load - 0.55) - 60 * (rpm / 3000) ** 2 + hill) / HZ
    rpm = Math.max(950, rpm)
    learner.add(t, rpm, throttlePct)
  }
  return learner
}

describe('throttle need', () => {
  it('is learned from how engine speed rises in gear, of small and of large carburettors', () => {
    for (const need of [0.65, 0.85, 1, 1.3, 1.6]) {
      const learner = drive(createThrottleNeedLearner(), need)
      expect(learner.stretches).toBeGreaterThan(10)
      expect(Math.abs(Math.log(learner.need() / need))).toBeLessThan(0.15)
    }
  })

  it('is a middling car\u2019s until something was driven', () => {
    const learner = createThrottleNeedLearner()
    expect(learner.need()).toBe(1)
    for (let i = 0; i < 60 * HZ; i++) learner.add(i / HZ, 800, 0)
    expect(learner.need()).toBe(1)
    expect(learner.stretches).toBe(0)
  })

  it('begins with what earlier runs taught, and is moved from it by a drive', () => {
    const learner = createThrottleNeedLearner(1.5)
    expect(learner.need()).toBeCloseTo(1.5, 9)
    drive(learner, 1, { seconds: 600 })
    expect(learner.need()).toBeLessThan(1.25)
  })

  it('takes nothing from a throttle that stands still, nor from stretches cut up by gear changes', () => {
    expect(drive(createThrottleNeedLearner(), 1.6, { throttles: [20] }).stretches).toBe(0)
    expect(drive(createThrottleNeedLearner(), 1.6, { gearS: 3 }).stretches).toBe(0)
  })

  it('is the same through gaps and missing values', () => {
    const whole = drive(createThrottleNeedLearner(), 1.4)
    const learner = createThrottleNeedLearner()
    drive(
      {
        ...learner,
        add(t, rpm, throttlePct) {
          if (t % 61 < 2) return
          learner.add(t, rpm, throttlePct)
          learner.add(t, Number.NaN, throttlePct)
          learner.add(t, rpm, Number.NaN)
        },
      },
      1.4,
    )
    expect(learner.stretches).toBeGreaterThan(8)
    expect(Math.abs(learner.need() - whole.need())).toBeLessThan(0.15)
  })
})

describe('a board without a pressure sensor', () => {
  const car = findCar('pebble')
  const drive = (channels: string) =>
    simulateRun({ car, drive: 'traffic', seconds: 480, seed: 3, channels, rateHz: 50 }).bytes
  const bytes = drive('no_pressure')
  const { result } = analyseCapture(bytes)

  it('teaches its throttle need, which goes into the profile, and the next run begins with it', () => {
    const { throttle_need: need, throttle_need_stretches: stretches } = result.run.learned!
    expect(stretches).toBeGreaterThan(5)
    expect(need).toBeGreaterThan(0.5)
    expect(need).toBeLessThan(1.1)
    const lessons = lessonsOf(result)
    expect(lessons).toMatchObject({
      delay: { events_used: result.delay.events_used },
      throttle_need: { factor: need, stretches },
    })
    const wide = { id: 'pebble', throttle_need: { factor: 2 } }
    const again = analyseCapture(bytes, { car: wide, carWins: true }).result
    expect(again.run.learned!.throttle_need).toBeGreaterThan(need! + 0.05)
  })

  it('is held to what its owner says of the throttle', () => {
    const powerS = (factor: number, state_limits: Record<string, number>) =>
      analyseCapture(bytes, { car: { id: 'pebble', state_limits, throttle_need: { factor } }, carWins: true })
        .result.states.filter(({ state }) => state === 'power')
        .reduce((sum, { start_s, end_s }) => sum + end_s - start_s, 0)
    const apart = (limits: Record<string, number>) => powerS(0.6, limits) - powerS(2, limits)
    expect(apart({})).toBeGreaterThan(5)
    // The need still guesses the flow of the gas, and so where a tip-in ends.
    expect(Math.abs(apart({ power_throttle_pct: 50 }))).toBeLessThan(0.5)
  })

  it('alone does so: a pressure sensor tells the load itself', () => {
    const usual = analyseCapture(drive('usual')).result
    expect(usual.run.learned!.throttle_need).toBeUndefined()
    expect(lessonsOf(usual).throttle_need).toBeUndefined()
  })
})
