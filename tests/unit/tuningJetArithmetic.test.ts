import { describe, expect, it } from 'vitest'
import type { Fitted } from '../../core/contract/car.ts'
import { fuelPaths, isSamePart, openingOf, pathFactor, pathsOf } from '../../core/tuning/partPaths.ts'
import { learnResponse } from '../../core/tuning/responseModel.ts'

const main = fuelPaths.find((path) => path.id === 'main')!
const settings = { repeatabilityShare: 0.003, modelShare: 0 }
const jet = (boreMm: number): Fitted => ({ main_jet: { label: String(boreMm), bore_mm: boreMm } })

describe('jet arithmetic by hand', () => {
  it('pathFactor from 1.85 to 1.80 mm is (1.80 ÷ 1.85)² = 0.9467', () => {
    expect(pathFactor(main, jet(1.85), jet(1.8), 'cruise')).toBeCloseTo(0.9467, 4)
  })

  it('openingOf a 2.00 mm jet with a 1.60 mm rod in it is π ÷ 4 × (4.00 − 2.56) = 1.1310 mm²', () => {
    const opening = openingOf({ label: '200', bore_mm: 2 }, 'cruise', {
      label: 'r',
      cruise_mm: 1.6,
      power_mm: 1.2,
    })
    expect(opening).toBeCloseTo(1.131, 4)
  })

  it('openingOf the same jet at the rod’s power step of 1.20 mm is π ÷ 4 × (4.00 − 1.44) = 2.0106 mm²', () => {
    const opening = openingOf({ label: '200', bore_mm: 2 }, 'power', {
      label: 'r',
      cruise_mm: 1.6,
      power_mm: 1.2,
    })
    expect(opening).toBeCloseTo(2.0106, 4)
  })

  it('openingOf a jet filled by its rod is not a number', () => {
    expect(openingOf({ label: '100', bore_mm: 1 }, 'cruise', { label: 'r', cruise_mm: 1 })).toBeNaN()
  })

  it('pathFactor counts jets side by side only where both sets say how many', () => {
    const two: Fitted = { main_jet: { label: '71', bore_mm: 1.85, count: 2 } }
    expect(pathFactor(main, two, jet(1.85), 'cruise')).toBe(1)
    expect(pathFactor(main, two, { main_jet: { label: '71', bore_mm: 1.85, count: 1 } }, 'cruise')).toBe(0.5)
  })

  it('a cruise at λ 1.10 for 1.02 wants 7.84 % more fuel, with a share of 0.80 9.80 % more area, a bore of 1.939 mm', () => {
    // r = 1.10 / 1.02 = 1.0784; area 1 + 0.0784 / 0.80 = 1.0980; 1.85 × √1.0980 = 1.9386.
    const model = learnResponse(
      [{ fitted: jet(1.85), logLambda: { cruise: { mean: Math.log(1.1), se: 1e-4 } } }],
      [main],
      settings,
    )
    const then = model.forecast('cruise', jet(1.9386))!
    expect(Math.exp(then.mean)).toBeCloseTo(1.02, 3)
  })

  it('one earlier swap teaches the share: 10 % more area that moved λ by 5 % is a share near one half', () => {
    // λ 1.10 → 1.0476: fuel × 1.05 for area × 1.10, so f = 0.05 / 0.10 = 0.5.
    const bigger = jet(1.85 * Math.sqrt(1.1))
    const model = learnResponse(
      [
        { fitted: jet(1.85), logLambda: { cruise: { mean: Math.log(1.1), se: 0.0005 } }, daySd: 0 },
        { fitted: bigger, logLambda: { cruise: { mean: Math.log(1.1 / 1.05), se: 0.0005 } }, daySd: 0 },
      ],
      [main],
      settings,
    )
    // Seen from today's larger jet the same fuel share reads f × 1.10 / 1.05 = 0.524.
    expect(model.share('cruise', 'main')!.mean).toBeCloseTo(0.524, 2)
    expect(model.share('cruise', 'main')!.sd).toBeLessThan(0.02)
  })

  it('an uncertain share widens the forecast with the size of the step', () => {
    const model = learnResponse(
      [{ fitted: jet(1.85), logLambda: { cruise: { mean: 0, se: 0.002 } } }],
      [main],
      settings,
    )
    const near = model.forecast('cruise', jet(1.87))!
    const far = model.forecast('cruise', jet(2))!
    expect(far.sd).toBeGreaterThan(3 * near.sd)
  })

  it('what main jet and restriction turn out not to feed is expected of the secondary jet', () => {
    const part = (mm: number) => ({ label: String(mm), bore_mm: mm })
    const set = (main: number, restriction: number): Fitted => ({
      main_jet: part(main),
      power_restriction: part(restriction),
      secondary_jet: part(2.2),
    })
    const seen = (fitted: Fitted, lambda: number) => ({
      fitted,
      logLambda: { power: { mean: Math.log(lambda), se: 0.003 } },
    })
    const paths = pathsOf(set(1.7, 1.2))
    const shareOf = (runs: Parameters<typeof learnResponse>[0]) =>
      learnResponse(runs, paths, settings).share('power', 'secondary')!
    const before = shareOf([seen(set(1.7, 1.2), 1)])
    // 15 % of main jet area moved power by 5 %, 32 % of restriction by 3.5 %.
    const after = shareOf([
      seen(set(1.7, 1.2), 1),
      seen(set(1.823, 1.2), 1 / 1.05),
      seen(set(1.823, 1.379), 1 / 1.085),
    ])
    expect(before.mean).toBeCloseTo(0.2, 3)
    expect(before.sd).toBeCloseTo(0.15, 3)
    expect(after.mean).toBeGreaterThan(0.25)
    expect(after.sd).toBeLessThan(0.145)
  })

  it('forecast is undefined for a state that was never driven', () => {
    const model = learnResponse([{ fitted: jet(1.85), logLambda: {} }], [main], settings)
    expect(model.forecast('power', jet(1.85))).toBeUndefined()
  })

  it('pathsOf passes over parts without a size', () => {
    expect(pathsOf({ main_jet: { label: '71' }, squirter: { label: '31', bore_mm: 0.79 } })).toEqual([])
  })

  it('isSamePart goes by size, and by label where there is no size', () => {
    expect(isSamePart({ label: '71', bore_mm: 1.85 }, { label: 'seventy-one', bore_mm: 1.85 })).toBe(true)
    expect(isSamePart({ label: '71', bore_mm: 1.85 }, { label: '71', bore_mm: 1.9 })).toBe(false)
    expect(isSamePart({ label: 'plain' }, { label: 'Plain' })).toBe(true)
  })
})
