import { describe, expect, it } from 'vitest'
import { createLambdaStage, defaultLambdaStageOptions, trust } from '../../core/engine/lambdaStage.ts'
import { planar49 } from '../../core/sensing/planarSensors.ts'

const stageOf = () => createLambdaStage({ ...defaultLambdaStageOptions, bank: 1, sensor: planar49 })
const RATE_HZ = 50
const PUMP_MA = -0.4

/** When λ is first believed, s, of a cell whose resistance goes by this law; NaN for never within the time. */
function firstBelievedS(seconds: number, ohmAt: (t: number) => number): number {
  const stage = stageOf()
  for (let i = 0; i < seconds * RATE_HZ; i++) {
    const t = i / RATE_HZ
    stage.step(t, PUMP_MA, true, ohmAt(t), Number.NaN, Number.NaN, false, Number.NaN)
    if (stage.reason === trust.ok && !Number.isNaN(stage.lambda)) return t
  }
  return Number.NaN
}

/** Scatter of a board's cell reading, a share, by turns. */
const scatter = (t: number) => 1 + 0.01 * Math.sin(517 * t)

describe('a sensor that warms', () => {
  const HOT_AT_S = 12
  const warming = (t: number) => (300 + 5200 * Math.max(0, 1 - t / HOT_AT_S) ** 2) * scatter(t)

  it('is not believed while the heater still drives its resistance down', () => {
    expect(firstBelievedS(20, warming)).toBeGreaterThan(HOT_AT_S)
  })

  it('is believed soon after its resistance has settled', () => {
    expect(firstBelievedS(20, warming)).toBeLessThan(HOT_AT_S + 1.5)
  })

  it('tells of warming until then', () => {
    const stage = stageOf()
    for (let i = 0; i < (HOT_AT_S - 0.5) * RATE_HZ; i++) {
      const t = i / RATE_HZ
      stage.step(t, PUMP_MA, true, warming(t), Number.NaN, Number.NaN, false, Number.NaN)
    }
    expect(stage.reason).toBe(trust.warming)
    expect(stage.warmingPct()).toBe(99)
  })

  it('is believed at once where the run begins with it hot', () => {
    expect(firstBelievedS(20, (t) => 300 * scatter(t))).toBe(0)
  })

  it('is not waited for after a disturbed line that read cold for a moment', () => {
    const stage = stageOf()
    let lost = 0
    for (let i = 0; i < 10 * RATE_HZ; i++) {
      const isDisturbed = i >= RATE_HZ && i % RATE_HZ < 4
      stage.step(
        i / RATE_HZ,
        PUMP_MA,
        true,
        isDisturbed ? 900 : 300,
        Number.NaN,
        Number.NaN,
        false,
        Number.NaN,
      )
      if (stage.reason !== trust.ok) lost++
    }
    expect(lost).toBe(9 * 4)
  })

  it('stays cold while the board leaves out a resistance that was cold when it was last told', () => {
    const stage = stageOf()
    let believed = 0
    // Hot, then its heater fails: the cell cools until the board can no longer measure it.
    const failed = (t: number) => (t < 20 ? 300 : t < 25 ? 300 * 4 ** (t - 20) : Number.NaN)
    for (let i = 0; i < 120 * RATE_HZ; i++) {
      const t = i / RATE_HZ
      stage.step(t, PUMP_MA, true, failed(t), 100, Number.NaN, false, Number.NaN)
      if (t > 21 && stage.reason === trust.ok) believed++
    }
    expect(believed).toBe(0)
  })

  it('is taken at its last word where the board tells the resistance now and then', () => {
    const stage = stageOf()
    const warm = (t: number) => (t < 12 ? 2000 : 300)
    let early = 0
    let late = 0
    for (let i = 0; i < 20 * RATE_HZ; i++) {
      const t = i / RATE_HZ
      const told = i % 10 === 0 ? warm(t) : Number.NaN
      stage.step(t, PUMP_MA, true, told, Number.NaN, Number.NaN, false, Number.NaN)
      if (stage.reason === trust.ok) t < 12 ? early++ : late++
    }
    expect(early).toBe(0)
    expect(late).toBeGreaterThan(6 * RATE_HZ)
  })

  it('is waited for again after its cell has gone cold', () => {
    const cooled = (t: number) => (t < 2 ? 300 : t < 4 ? 900 : 300 + 600 * Math.max(0, 1 - (t - 4) / 3))
    const stage = stageOf()
    let agains = 0
    for (let i = 0; i < 12 * RATE_HZ; i++) {
      const t = i / RATE_HZ
      stage.step(t, PUMP_MA, true, cooled(t), Number.NaN, Number.NaN, false, Number.NaN)
      if (t > 2 && t < 7) expect(stage.reason).toBe(trust.warming)
      if (t > 8.5 && stage.reason === trust.ok) agains++
    }
    expect(agains).toBeGreaterThan(100)
  })
})
