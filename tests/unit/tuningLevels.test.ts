import { describe, expect, it } from 'vitest'
import type { Air, Fitted } from '../../core/contract/car.ts'
import type { SteadyPiece } from '../../core/contract/result.ts'
import { choleskyOf, invertPositive, solveCholesky } from '../../core/numeric/cholesky.ts'
import { rowPattern } from '../../core/tuning/changePattern.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { type LevelRow, levelRowsOf } from '../../core/tuning/levelRows.ts'
import { findStateLevels } from '../../core/tuning/stateLevels.ts'
import { estimateWander, wanderAt, wanderOfRow, wanderOfSecond } from '../../core/tuning/wanderModel.ts'
import { createNoise, syntheticRun } from '../support/syntheticRun.ts'

const home: Air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 }
const jet = (bore: number): Fitted => ({ main_jet: { label: String(bore), bore_mm: bore } })
/** λ of a car with this much main jet area: its low flows are fed by the idle circuit. */
const lambdaAt = (area: number) => (rpm: number, load: number, state: string) => {
  const base = state === 'idle' ? 0.95 : load < 0.6 ? 1.02 : load < 0.78 ? 0.97 : 0.87
  const reach = state === 'idle' ? 0 : Math.min(1, Math.max(0, (rpm * load - 330) / 220))
  return base / (1 + 0.75 * reach * (area - 1))
}

describe('choleskyOf', () => {
  it('solves a system worked by hand', () => {
    const matrix = [Float64Array.of(4, 2), Float64Array.of(2, 5)]
    expect([...solveCholesky(choleskyOf(matrix), [10, 13])]).toEqual([1.5, 2])
    const inverse = invertPositive(matrix)
    expect(inverse[0][0]).toBeCloseTo(5 / 16, 12)
    expect(inverse[0][1]).toBeCloseTo(-2 / 16, 12)
  })
})

describe('estimateWander', () => {
  it('finds how long a wander lasts and how much of the scatter is white', () => {
    const random = createNoise(4)
    const tauS = 30
    const residuals = []
    for (let series = 0; series < 4; series++) {
      let drift = random.normal()
      for (let timeS = 0; timeS < 1500; timeS += 3) {
        const pull = Math.exp(-3 / tauS)
        drift = drift * pull + Math.sqrt(1 - pull * pull) * random.normal()
        residuals.push({ series, timeS, seconds: 3, value: drift + 0.4 * random.normal() })
      }
    }
    const model = estimateWander(residuals)
    // True: e^(−10/30) = 0.72 and e^(−60/30) = 0.14 of a variance of 1.
    expect(wanderAt(model, 10)).toBeGreaterThan(0.55)
    expect(wanderAt(model, 10)).toBeLessThan(0.95)
    expect(wanderAt(model, 60)).toBeLessThan(0.4)
    expect(wanderOfRow(model, 3)).toBeGreaterThan(0.8)
    expect(wanderOfRow(model, 3)).toBeLessThan(1.6)
  })

  it('leans on what is assumed when a run tells nothing', () => {
    const model = estimateWander([{ series: 0, timeS: 0, seconds: 1, value: 0.3 }])
    expect(wanderOfSecond(model)).toBeGreaterThan(0.8)
    expect(wanderAt(model, 20)).toBeGreaterThan(0.1)
  })
})

describe('levelRowsOf', () => {
  const piece = (timeS: number, visit: number, lambda: number) => ({
    bank: 1 as const,
    state: 'cruise' as const,
    visit,
    timeS,
    seconds: 1,
    lambda,
    rpm: 2000,
    load: 0.4,
    manifoldKpa: 40,
    throttlePct: 20,
    coolantC: 86,
  })

  it('merges neighbouring seconds and starts anew with each visit', () => {
    const pieces = [0, 1, 2, 3, 4, 5].map((t) => piece(t, 0, 1)).concat([piece(9, 1, 1.1)])
    const rows = levelRowsOf({ pieces, logShift: 0 }, 0)
    expect(rows.map((row) => row.seconds)).toEqual([3, 3, 1])
    expect(rows[2].logLambda).toBeCloseTo(Math.log(1.1), 12)
  })

  it('is bounded however long the run is', () => {
    const pieces = Array.from({ length: 20_000 }, (_, i) => piece(i * 1.2, Math.floor(i / 30), 1))
    expect(levelRowsOf({ pieces, logShift: 0 }, 0).length).toBeLessThanOrEqual(260)
  })
})

describe('findStateLevels', () => {
  it('gives the level of each run as if all had driven the same cells', () => {
    const slow = syntheticRun({ seed: 1, lambdaAt: lambdaAt(1), meanRpm: 1700 })
    const fast = syntheticRun({ seed: 2, lambdaAt: lambdaAt(1), meanRpm: 2700 })
    const set = findStateLevels([
      { pieces: slow.pieces, logShift: 0 },
      { pieces: fast.pieces, logShift: 0 },
    ])!
    const cruise = set.levels.find((level) => level.state === 'cruise')!
    const { difference, se } = cruise.contrast(0, 1)
    expect(Math.abs(difference)).toBeLessThan(2.5 * se)
    expect(se).toBeLessThan(0.01)
    expect(Math.exp(cruise.logLambda[0])).toBeCloseTo(1.02, 1)
  })

  it('takes the moment in which the engine comes down to idle for no law of idle', () => {
    const random = createNoise(7)
    // Another idle speed and pressure each day, the same mixture; rich with low pressure as the throttle closes.
    const day = (load: number, rpm: number) => {
      const pieces: SteadyPiece[] = []
      for (let visit = 0; visit < 8; visit++) {
        for (let s = 0; s < 20; s++) {
          const way = Math.exp(-s / 0.7)
          pieces.push({
            bank: 1,
            state: 'idle',
            visit,
            timeS: 60 * visit + s + 0.5,
            seconds: 1,
            lambda: 0.95 * (1 - 0.12 * way) * (1 + 0.003 * random.normal()),
            rpm: rpm + 70 * way,
            load: load - 0.09 * way,
            manifoldKpa: 100 * (load - 0.09 * way),
            throttlePct: 0,
            coolantC: 82,
          })
        }
      }
      return { pieces, logShift: 0 }
    }
    const [idle] = findStateLevels([day(0.335, 680), day(0.31, 720)])!.levels
    const difference = idle.logLambda[1] - idle.logLambda[0]
    expect(Math.abs(difference)).toBeLessThan(0.01)
  })

  it('takes idle where each run idled, since other screws idle at another speed and load', () => {
    const random = createNoise(9)
    // Within a day the mixture follows the load of accessories a little; from day to day the screws moved both.
    const day = (lambda: number, middle: number, rpm: number) => {
      const pieces: SteadyPiece[] = []
      for (let s = 0; s < 150; s++) {
        const load = middle + 0.02 * Math.sin(s / 9)
        pieces.push({
          bank: 1,
          state: 'idle',
          visit: Math.floor(s / 30),
          timeS: s + 20 * Math.floor(s / 30) + 0.5,
          seconds: 1,
          lambda: lambda * Math.exp(0.6 * (load - middle) + 0.003 * random.normal()),
          rpm,
          load,
          manifoldKpa: 100 * load,
          throttlePct: 0,
          coolantC: 85,
        })
      }
      return { pieces, logShift: 0 }
    }
    const [idle] = findStateLevels([day(1.24, 0.46, 640), day(0.88, 0.33, 830)], { ownCircuit: true })!.levels
    expect(Math.exp(idle.logLambda[0])).toBeCloseTo(1.24, 2)
    expect(Math.exp(idle.logLambda[1])).toBeCloseTo(0.88, 2)
    expect(idle.se[1]).toBeLessThan(0.01)
  })

  it('has nothing to say of runs without steady driving', () => {
    expect(findStateLevels([{ pieces: [], logShift: 0 }])).toBeUndefined()
  })
})

describe('rowPattern', () => {
  const row = (state: LevelRow['state'], rpm: number, load: number): LevelRow => ({
    state,
    run: 0,
    bank: 1,
    timeS: 0,
    seconds: 1,
    logLambda: 0,
    rpm,
    load,
    vacuumGap: 0,
    cold: 0,
    fresh: 0,
  })
  const rows = [row('idle', 800, 0.35), row('cruise', 1000, 0.3), row('cruise', 2500, 0.45)]

  it('looks for a larger main jet where the main circuit feeds, not near idle’s air flow', () => {
    const { ofRow, isKnown } = rowPattern(rows, jet(1.8), jet(1.85))
    expect(isKnown).toBe(true)
    expect(Math.abs(ofRow[0])).toBeLessThan(0.2)
    expect(Math.abs(ofRow[1])).toBeLessThan(0.2)
    expect(Math.abs(ofRow[2])).toBe(1)
  })

  it('looks at idle for idle screws', () => {
    const screws = (turns: number): Fitted => ({ idle_screws: { label: String(turns), turns } })
    const { ofRow } = rowPattern(rows, screws(1), screws(1.5))
    expect(Math.abs(ofRow[0])).toBe(1)
    expect(Math.abs(ofRow[2])).toBeLessThan(0.3)
  })

  it('takes the main circuit when nothing is known to be changed', () => {
    expect(rowPattern(rows, jet(1.8), jet(1.8)).isKnown).toBe(false)
    expect(rowPattern(rows, undefined, jet(1.8)).ofRow[2]).toBe(1)
  })
})

describe('compareRuns with 3 % of main jet area changed', () => {
  it('finds it in most pairs of ten minutes, and never the wrong way', () => {
    let found = 0
    let wrong = 0
    const pairs = 40
    for (let pair = 0; pair < pairs; pair++) {
      const wander = createNoise(pair + 5).between(0.004, 0.012)
      const bigger = pair % 2 === 0
      const area = bigger ? 1.03 : 0.97
      const one = { air: home, wander, seconds: 600 }
      const { verdict } = compareRuns(
        syntheticRun({ ...one, seed: 2 * pair + 1, lambdaAt: lambdaAt(1), fitted: jet(1.85) }),
        syntheticRun({
          ...one,
          seed: 2 * pair + 2,
          lambdaAt: lambdaAt(area),
          fitted: jet(1.85 * Math.sqrt(area)),
        }),
      )
      if (verdict === (bigger ? 'richer' : 'leaner')) found++
      else if (verdict !== 'no_difference') wrong++
    }
    expect(found).toBeGreaterThanOrEqual(0.9 * pairs)
    expect(wrong).toBe(0)
  }, 60_000)
})
