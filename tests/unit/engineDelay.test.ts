import { describe, expect, it } from 'vitest'
import type { ConditionedRun } from '../../core/engine/conditionedRun.ts'
import { createLambdaLayer } from '../../core/engine/lambdaLayer.ts'
import { trust } from '../../core/engine/lambdaStage.ts'
import { learnDelay } from '../../core/engine/learnDelay.ts'
import type { EnginePoint } from '../../core/engine/operatingState.ts'
import { plateOpening } from '../../core/engine/plateOpening.ts'
import { addPoint, createPointHistory, flowFigure } from '../../core/engine/pointHistory.ts'
import { guessedLoad } from '../../core/engine/throttleLoad.ts'

const STEP_S = 0.02

/**
 * Ten minutes of throttle steps; λ follows load at once, the pipe delays it by plug flow, the sensor by a lag. With `cutAfterS` one step of three
 * shuts the throttle, and so long after that no fuel comes any more until it opens.
 */
function makeRun(aS: number, b: number, lagS: number, pump = 0, cutAfterS = Number.NaN): ConditionedRun {
  const count = 600 / STEP_S
  const column = () => new Float64Array(count)
  const run: ConditionedRun = {
    count,
    timeS: column(),
    rpm: column(),
    throttlePct: column(),
    mapKpa: column(),
    lambdaCount: count,
    lambdaS: column(),
    lambda: column(),
  }
  const cause = column()
  const flow = column()
  let throttle = 10
  let shot = 0
  let shutS = 0
  for (let i = 0; i < count; i++) {
    const t = i * STEP_S
    const step = Math.floor(t / 4)
    const isShut = cutAfterS >= 0 && step % 3 === 0
    const wanted = isShut ? 0 : [4, 30, 12, 60, 8, 22][step % 6] + (step % 5)
    const moved = Math.sign(wanted - throttle) * Math.min(Math.abs(wanted - throttle), 150 * STEP_S)
    throttle += moved
    // The pump gives by the plate's travel, and its fuel comes out over a twentieth of a second.
    shot = (shot + Math.max(0, moved)) * Math.exp(-STEP_S / 0.05)
    run.timeS[i] = t
    run.throttlePct[i] = throttle
    run.rpm[i] = 1500 + 25 * throttle + 200 * Math.sin(t / 7)
    run.mapKpa[i] = 30 + 65 * (1 - Math.exp(-throttle / 18))
    cause[i] = 1 / (0.98 - 0.0015 * run.mapKpa[i] + 0.1) + (pump * shot) / (run.rpm[i] * run.mapKpa[i])
    shutS = throttle === 0 ? shutS + STEP_S : 0
    if (shutS > cutAfterS) cause[i] = 0.3
    flow[i] = (i > 0 ? flow[i - 1] : 0) + run.rpm[i] * run.mapKpa[i] * STEP_S
  }
  let tail = 0
  let tip = cause[0]
  const pure = Math.round((aS - lagS) / STEP_S)
  const late = column()
  for (let i = 0; i < count; i++) {
    while (tail < i && flow[i] - flow[tail + 1] >= b) tail++
    late[i] = cause[tail]
  }
  for (let i = 0; i < count; i++) {
    tip += (late[Math.max(0, i - pure)] - tip) * (1 - Math.exp(-STEP_S / lagS))
    run.lambdaS[i] = i * STEP_S
    run.lambda[i] = 1 / tip
  }
  return run
}

const options = {
  throttleRestPct: 0,
  warmIdleRpm: 800,
  throttleNeed: 1,
  barometerKpa: 100,
  earlierEvents: 0,
}

describe('plateOpening', () => {
  it('is twice as far for four times the air at sonic flow, and further still where the pressure drop is small', () => {
    const idle = plateOpening(0.3, 800)
    expect(plateOpening(0.3, 3200) / idle).toBeCloseTo(2, 12)
    expect(plateOpening(0.5, 1920) / idle).toBeCloseTo(2, 12)
    // NACA Report 1135, table I, from memory: p/p₀ 0.9004 at Mach 0.39 (A/A* 1.6234), 0.8430 at 0.50 (1.3398).
    for (const [ratio, area] of [
      [0.9004, 1.6234],
      [0.843, 1.3398],
    ]) {
      expect((plateOpening(ratio, 1600) / plateOpening(ratio / 2, 3200)) ** 2).toBeCloseTo(area, 2)
    }
    expect(plateOpening(1, 2000)).toBeGreaterThan(plateOpening(0.95, 2000))
    expect(plateOpening(1.02, 2000)).toBeLessThan(1.02 * plateOpening(1, 2000))
  })

  it('is NaN where load or speed is missing', () => {
    expect(plateOpening(Number.NaN, 2000)).toBeNaN()
    expect(plateOpening(0.5, Number.NaN)).toBeNaN()
  })
})

describe('learnDelay', () => {
  for (const [aS, b] of [
    [0.1, 6000],
    [0.14, 14_000],
  ]) {
    it(`finds ${aS} s + ${b} / (rpm × kPa) from throttle steps within 25 ms at cruise and power`, () => {
      const { aS: foundS, bSRpmKpa, eventsUsed } = learnDelay(makeRun(aS, b, 0.06), options)
      for (const flow of [90_000, 250_000]) {
        expect(Math.abs(foundS + bSRpmKpa / flow - (aS + b / flow))).toBeLessThan(0.025)
      }
      expect(eventsUsed).toBeGreaterThan(30)
    })
  }

  it('is not led astray by a pump whose fuel the flow of air thins', () => {
    const { aS, bSRpmKpa } = learnDelay(makeRun(0.12, 12_000, 0.06, 8000), options)
    for (const flow of [60_000, 90_000, 250_000]) {
      expect(Math.abs(aS + bSRpmKpa / flow - (0.12 + 12_000 / flow))).toBeLessThan(0.025)
    }
  })

  it('nor where no throttle tells when the pump gives: air and pressure tell how the plate moved', () => {
    const run = makeRun(0.12, 6000, 0.06, 8000)
    run.throttlePct.fill(Number.NaN)
    const { aS, bSRpmKpa } = learnDelay(run, options)
    for (const flow of [30_000, 60_000, 90_000, 250_000]) {
      expect(Math.abs(aS + bSRpmKpa / flow - (0.12 + 6000 / flow))).toBeLessThan(0.025)
    }
  })

  for (const cutAfterS of [0.3, 0.6]) {
    it(`does not take the ${cutAfterS} s for which fuel goes on in an overrun for a delay`, () => {
      const { aS, bSRpmKpa } = learnDelay(makeRun(0.12, 9000, 0.06, 0, cutAfterS), options)
      for (const flow of [90_000, 250_000]) {
        expect(Math.abs(aS + bSRpmKpa / flow - (0.12 + 9000 / flow))).toBeLessThan(0.06)
      }
    })
  }

  it('is not led astray by three openings after which the fuel runs short', () => {
    const run = makeRun(0.12, 9000, 0.06)
    for (const fromS of [64.5, 208.5, 352.5]) {
      // The main well is drained: for a second no fuel follows, most of a second after the throttle opened.
      for (let i = 0; i < run.lambdaCount; i++) {
        if (run.lambdaS[i] > fromS && run.lambdaS[i] < fromS + 1) run.lambda[i] = 3
      }
    }
    const { aS, bSRpmKpa } = learnDelay(run, options)
    for (const flow of [60_000, 90_000, 250_000]) {
      expect(Math.abs(aS + bSRpmKpa / flow - (0.12 + 9000 / flow))).toBeLessThan(0.03)
    }
  })

  it('keeps the law of earlier runs when nothing moved', () => {
    const run = makeRun(0.1, 6000, 0.06)
    run.throttlePct.fill(12)
    run.mapKpa.fill(50)
    run.rpm.fill(2000)
    const earlier = { aS: 0.2, bSRpmKpa: 9000, flow: 'plug' as const }
    expect(learnDelay(run, { ...options, earlier })).toMatchObject({ aS: 0.2, bSRpmKpa: 9000, eventsUsed: 0 })
  })
})

describe('createLambdaLayer', () => {
  const point = (timeS: number, rpm: number, mapKpa: number): EnginePoint => ({
    timeS,
    rpm,
    throttlePct: 10,
    mapKpa,
    barometerKpa: 100,
    load: mapKpa / 100,
    flowKpa: mapKpa,
    coolantC: 85,
    intakeAirC: 20,
    roadSpeedMs: 10,
    secondaryPct: 0,
    exhaustC: 500,
  })

  it('lays λ at its cause and never an earlier reading after a later one, while the flow jumps', () => {
    const history = createPointHistory()
    const law = { aS: 0.1, bSRpmKpa: 10_000, flow: 'plug' as const }
    const layer = createLambdaLayer({ history, law: () => law, bankCount: 1, bridgeS: 0.2 })
    for (let i = 0; i < 1500; i++) {
      const t = i / 100
      const isOpen = Math.floor(t) % 3 === 1
      addPoint(history, point(t, isOpen ? 3000 : 900, isOpen ? 95 : 30), i === 0)
      // λ tells its own time: 0.9 + t/100.
      layer.add(0, t, 0.9 + t / 100, trust.ok)
      layer.layUntil(t)
    }
    let before = 0
    for (let n = 0; n < layer.next; n++) {
      const lambda = history.lambda[0][n & history.mask]
      if (Number.isNaN(lambda)) continue
      expect(lambda).toBeGreaterThanOrEqual(before)
      before = lambda
    }
    // In steady running at 3000 rpm and 95 kPa the delay is 0.1 + 10000 / 285000 s.
    const at = 150
    expect((history.lambda[0][at] - 0.9) * 100 - history.timeS[at]).toBeCloseTo(0.135, 2)
  })

  it('gives no λ where the readings stopped', () => {
    const history = createPointHistory()
    const law = { aS: 0.1, bSRpmKpa: 10_000, flow: 'plug' as const }
    const layer = createLambdaLayer({ history, law: () => law, bankCount: 1, bridgeS: 0.2 })
    for (let i = 0; i < 400; i++) {
      addPoint(history, point(i / 100, 2000, 50), i === 0)
      if (i < 200) layer.add(0, i / 100, 1, trust.ok)
      layer.layUntil(i / 100)
    }
    layer.finish()
    expect(history.lambda[0][100]).toBe(1)
    expect(history.lambda[0][300]).toBeNaN()
    expect(history.reason[0][300]).toBe(trust.gap)
  })
})

describe('guessed load of a board without a pressure sensor', () => {
  it('of a closed throttle is the same whether its noise lies over or under its rest', () => {
    const at = (throttlePct: number) => guessedLoad(800, throttlePct, 1, 800)
    expect(at(-0.3)).toBe(at(0))
    expect(at(0.2) / at(0)).toBeLessThan(1.1)
    expect(at(20)).toBeGreaterThan(1.5 * at(0))
  })

  it('is least in an overrun, and of an unknown throttle none', () => {
    expect(guessedLoad(2500, 0, 1, 800)).toBeLessThan(guessedLoad(800, 0, 1, 800))
    expect(guessedLoad(2500, Number.NaN, 1, 800)).toBeNaN()
  })

  it('is that of half the throttle where the car needs twice as much', () => {
    expect(guessedLoad(2500, 40, 2, 800)).toBe(guessedLoad(2500, 20, 1, 800))
  })
})

describe('flow figure', () => {
  it('without pressure lies between idle and full load', () => {
    expect(flowFigure(2000, Number.NaN)).toBeGreaterThan(flowFigure(2000, 25))
    expect(flowFigure(2000, Number.NaN)).toBeLessThan(flowFigure(2000, 98))
  })
})
