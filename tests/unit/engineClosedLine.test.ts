import { describe, expect, it } from 'vitest'
import { closedPressureKpa, createClosedLineLearner } from '../../core/engine/closedLine.ts'
import { createCarLearner } from '../../core/engine/learnedCar.ts'
import { createStateMachine, stateCode } from '../../core/engine/operatingState.ts'
import { defaultStateLimits } from '../../core/engine/stateLimits.ts'

const DT_S = 0.02
const spread = (i: number, width: number) => width * (((i * 0.618) % 1) - 0.5)

/** Idle at 800 rpm and 32 kPa, overrun at 22 kPa falling to 19, cruise well above. */
function learnUsual() {
  const learner = createClosedLineLearner()
  for (let i = 0; i < 1000; i++) {
    learner.add(800 + spread(i, 30), 32 + spread(i * 7, 1), DT_S)
    learner.add(1500 + spread(i, 400), 22 + spread(i * 7, 1), DT_S)
    learner.add(2500 + spread(i, 400), 19 + spread(i * 7, 1), DT_S)
    learner.add(2000 + spread(i, 2000), 45 + spread(i * 3, 20), DT_S)
  }
  return learner
}

describe('createClosedLineLearner', () => {
  it('finds the pressure of the shut plate at idle and in overrun', () => {
    const line = learnUsual().find(800, 1.4)!
    // The highest of idle's, so that all of it is told.
    expect(Math.abs(closedPressureKpa(line, 800) - 32.5)).toBeLessThan(1)
    expect(closedPressureKpa(line, 1500)).toBeCloseTo(22, 0)
    expect(closedPressureKpa(line, 2500)).toBeCloseTo(19, 0)
  })

  it('lies between idle and overrun at the speeds between', () => {
    const line = learnUsual().find(800, 1.4)!
    const between = closedPressureKpa(line, 1000)
    expect(between).toBeLessThan(32)
    expect(between).toBeGreaterThan(22)
  })

  it('does not take cruise for the shut plate where no overrun was driven', () => {
    const line = learnUsual().find(800, 1.4)!
    // Only cruise was seen at 2900 rpm and above.
    expect(closedPressureKpa(line, 2950)).toBeLessThan(20)
    expect(closedPressureKpa(line, 6000)).toBeLessThan(20)
  })

  it('knows an automatic in gear, which idles slower at a higher pressure, for a shut plate', () => {
    const learner = learnUsual()
    for (let i = 0; i < 4000; i++) learner.add(620 + spread(i, 20), 40 + spread(i * 7, 1), DT_S)
    const line = learner.find(800, 1.4)!
    expect(closedPressureKpa(line, 620)).toBeGreaterThan(39)
    expect(closedPressureKpa(line, 800)).toBeLessThan(34)
  })

  it('knows nothing before idle was seen', () => {
    const learner = createClosedLineLearner()
    for (let i = 0; i < 1000; i++) learner.add(2500, 45, DT_S)
    expect(learner.find(800, 1.4)).toBeUndefined()
  })

  it('passes over missing readings', () => {
    const learner = learnUsual()
    learner.add(Number.NaN, 20, DT_S)
    learner.add(800, Number.NaN, DT_S)
    expect(Math.abs(closedPressureKpa(learner.find(800, 1.4)!, 800) - 32.5)).toBeLessThan(1)
  })
})

const point = {
  timeS: 0,
  rpm: 2000,
  throttlePct: Number.NaN,
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

describe('createStateMachine without a throttle', () => {
  function stateAt(rpm: number, mapKpa: number): number {
    const line = learnUsual().find(800, 1.4)!
    const machine = createStateMachine({
      limits: defaultStateLimits,
      warmIdleRpm: () => 800,
      hasThrottle: () => false,
      hasPressure: () => true,
      throttleNeed: () => 1,
      closedLine: () => line,
      onSpan: () => {},
    })
    for (let i = 0; i < 100; i++) machine.push({ ...point, timeS: i / 50, rpm, mapKpa, load: mapKpa / 100 })
    return machine.confirmed
  }

  it('tells a light cruise from overrun by the pressure of the shut plate', () => {
    expect(stateAt(1800, 22)).toBe(stateCode.overrun)
    expect(stateAt(1800, 27)).toBe(stateCode.cruise)
  })

  it('tells creeping off from idling', () => {
    expect(stateAt(800, 32)).toBe(stateCode.idle)
    expect(stateAt(950, 40)).toBe(stateCode.cruise)
  })
})

describe('createStateMachine without a pressure sensor', () => {
  function stateAt(rpm: number, throttlePct: number): number {
    const machine = createStateMachine({
      limits: defaultStateLimits,
      warmIdleRpm: () => 800,
      hasThrottle: () => true,
      hasPressure: () => false,
      throttleNeed: () => 1,
      onSpan: () => {},
    })
    for (let i = 0; i < 100; i++) {
      machine.push({ ...point, timeS: i / 50, rpm, throttlePct, mapKpa: Number.NaN, load: Number.NaN })
    }
    return machine.confirmed
  }

  it('asks more throttle of a quick engine for the same state', () => {
    expect(stateAt(1500, 35)).toBe(stateCode.power)
    expect(stateAt(4000, 35)).toBe(stateCode.part_throttle)
    expect(stateAt(1500, 22)).toBe(stateCode.part_throttle)
    expect(stateAt(4000, 22)).toBe(stateCode.cruise)
  })
})

describe('createCarLearner', () => {
  it('does not take a long slow overrun for the warm idle', () => {
    const learner = createCarLearner(60, 1.5)
    let t = 0
    const hold = (seconds: number, rpm: number) => {
      for (let i = 0; i < seconds * 50; i++) {
        t += DT_S
        learner.add(t, rpm + spread(i, 20), 0, 30, 85)
      }
    }
    hold(60, 800)
    hold(15, 1180)
    expect(learner.learned().warmIdleRpm).toBeCloseTo(800, -1.3)
  })

  it('takes a faster cluster for neutral by the air that passes, where no throttle is told', () => {
    const idleWith = (fastKpa: number) => {
      const learner = createCarLearner(60, 1.5)
      for (let i = 0; i < 5000; i++) {
        const isFast = i % 1000 > 700
        const rpm = (isFast ? 830 : 640) + spread(i, 10)
        learner.add(i * DT_S, rpm, Number.NaN, (isFast ? fastKpa : 39) + spread(i * 7, 1), 85)
      }
      return learner.learned().warmIdleRpm
    }
    // 640 rpm × 39 kPa in gear is 830 rpm × 30 kPa in neutral; 45 kPa is a slow cruise.
    expect(Math.abs(idleWith(30) - 830)).toBeLessThan(10)
    expect(Math.abs(idleWith(45) - 640)).toBeLessThan(10)
  })

  it('learns the shut plate only where no throttle is told', () => {
    const withThrottle = createCarLearner(60, 1.5)
    const without = createCarLearner(60, 1.5)
    for (let i = 0; i < 1000; i++) {
      withThrottle.add(i * DT_S, 800, 0, 32, 85)
      without.add(i * DT_S, 800, Number.NaN, 32, 85)
    }
    expect(withThrottle.learned().closedLine).toBeUndefined()
    expect(without.learned().closedLine).toBeDefined()
  })
})
