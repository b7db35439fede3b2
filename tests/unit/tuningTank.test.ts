import { describe, expect, it } from 'vitest'
import type { Tank } from '../../core/contract/api.ts'
import { fuelFlowLH, learnFlowScale } from '../../core/tuning/fuelFlow.ts'
import { compareSetUps, scoreSetUp } from '../../core/tuning/scorecard.ts'
import { economyIn, economyOfTanks, findStretches } from '../../core/tuning/tankLog.ts'
import { syntheticResult } from '../support/syntheticRun.ts'

const tank = (id: string, day: number, distance_km: number, fuel_l: number, full = true, cost = 0): Tank => ({
  id,
  at: `2024-05-${String(day).padStart(2, '0')}T10:00:00+02:00`,
  distance_km,
  fuel_l,
  full,
  cost,
})

describe('findStretches', () => {
  it('counts from full to full: 40 l for 320 km is 12.5 l/100 km', () => {
    const [stretch] = findStretches([tank('a', 1, 100, 30), tank('b', 8, 320, 40)])
    expect(stretch.l100Km).toBe(12.5)
    // ± 1 l at either end is √2 of 40 l, 3.5 %, with 1 % of distance: 3.7 % of 12.5.
    expect(stretch.se).toBeCloseTo(12.5 * Math.hypot(Math.SQRT2 / 40, 0.01), 6)
  })

  it('adds part fillings to the stretch that they fall in', () => {
    const stretches = findStretches([
      tank('a', 1, 0, 50),
      tank('b', 3, 150, 10, false, 18),
      tank('c', 6, 170, 30, true, 54),
    ])
    expect(stretches).toHaveLength(1)
    expect(stretches[0]).toMatchObject({ id: 'c', distanceKm: 320, fuelL: 40, cost: 72 })
  })

  it('sorts by date, and waits for the next full filling after a part one', () => {
    expect(findStretches([tank('b', 8, 320, 40), tank('a', 1, 0, 30)])).toHaveLength(1)
    expect(findStretches([tank('a', 1, 0, 30), tank('b', 8, 320, 40, false)])).toHaveLength(0)
  })

  it('gives a rolling figure with a smaller error than one tank', () => {
    const stretches = findStretches([1, 5, 9, 13, 17].map((day, i) => tank(String(i), day, 300, 36)))
    const last = stretches.at(-1)!
    expect(last.rollingL100Km).toBeCloseTo(12, 9)
    expect(last.rollingSe).toBeLessThan(last.se)
  })

  it('ties each stretch to what was fitted then', () => {
    const fitted = { main_jet: { label: '71', bore_mm: 1.85 } }
    const [stretch] = findStretches([tank('a', 1, 0, 30), tank('b', 8, 320, 40)], () => fitted)
    expect(stretch.fitted).toBe(fitted)
  })

  it('throws for negative figures and gives NaN for an empty log', () => {
    expect(() => findStretches([tank('a', 1, -5, 30)])).toThrow(RangeError)
    expect(economyOfTanks([]).l100Km).toBeNaN()
  })

  it('economyIn gives 18.8 mpg US and 22.6 mpg imperial for 12.5 l/100 km', () => {
    expect(economyIn('mpg_us', 12.5)).toBeCloseTo(18.82, 2)
    expect(economyIn('mpg_imperial', 12.5)).toBeCloseTo(22.6, 2)
    expect(economyIn('l_100km', 12.5)).toBe(12.5)
  })
})

describe('fuelFlowLH', () => {
  const cruise = {
    rpm: 2000,
    manifoldKpa: 45,
    intakeAirC: 20,
    lambda: 1.02,
    displacementL: 5.7,
    stoichiometricRatio: 14.6,
    fuelDensityKgM3: 745,
  }

  it('works out 11.0 l/h by hand for a 5.7 l engine at 2000 rpm and 45 kPa', () => {
    // 45000 / (287.053 × 293.15) = 0.5348 kg/m³; × 0.0057 × 2000 × 60 / 2 × 0.8 = 146.3 kg/h air;
    // ÷ (1.02 × 14.6) = 9.826 kg/h; ÷ 0.745 = 13.19 l/h.
    expect(fuelFlowLH(cruise)).toBeCloseTo(13.19, 1)
  })

  it('is NaN without λ, and throws for a λ of 0', () => {
    expect(fuelFlowLH({ ...cruise, lambda: Number.NaN })).toBeNaN()
    expect(() => fuelFlowLH({ ...cruise, lambda: 0 })).toThrow(RangeError)
  })

  it('learnFlowScale moves from 1 to what the tanks say, the surer the more of them', () => {
    const one = learnFlowScale([{ filledL: 44, computedL: 40, seL: 1.4 }])
    const many = learnFlowScale(Array.from({ length: 6 }, () => ({ filledL: 44, computedL: 40, seL: 1.4 })))
    expect(one.scale).toBeGreaterThan(1.05)
    expect(one.scale).toBeLessThan(1.1)
    expect(many.scale).toBeCloseTo(1.1, 2)
    expect(many.sd).toBeLessThan(one.sd)
    expect(learnFlowScale([])).toEqual({ scale: 1, sd: 0.15 })
  })
})

describe('compareSetUps', () => {
  const result = (stumbles: number, tipIns: number, peakKw: number) => ({
    ...syntheticResult({}),
    transients: Array.from({ length: tipIns }, (_, i) => ({
      kind: 'tip_in' as const,
      start_s: i,
      rate_pct_s: 80,
      from_state: 'cruise' as const,
      to_state: 'part_throttle' as const,
      rpm: 2000,
      lean_peak: 0,
      lean_peak_after_s: 0,
      rich_peak: 0,
      rich_peak_after_s: 0,
      recovered_s: 0,
      stumble: i < stumbles,
      pattern: 'clean' as const,
    })),
    pulls: [
      {
        start_s: 0,
        end_s: 5,
        rpm_from: 2000,
        rpm_to: 5000,
        peak_kW: peakKw,
        peak_at_rpm: 4500,
        correction: null,
      },
    ],
  })
  const verdictOf = (
    what: string,
    a: Parameters<typeof compareSetUps>[0],
    b: Parameters<typeof compareSetUps>[0],
  ) => compareSetUps(a, b).find((line) => line.what.startsWith(what))!.verdict

  it('cannot tell 1 stumble of 10 from 2 of 10, but 30 of 100 from 2 of 100', () => {
    expect(verdictOf('stumbles', scoreSetUp([result(2, 10, 100)]), scoreSetUp([result(1, 10, 100)]))).toBe(
      'cannot_tell',
    )
    expect(verdictOf('stumbles', scoreSetUp([result(30, 100, 100)]), scoreSetUp([result(2, 100, 100)]))).toBe(
      'b_better',
    )
  })

  it('needs more than the scatter of pulls to call one stronger', () => {
    expect(verdictOf('peak', scoreSetUp([result(0, 1, 100)]), scoreSetUp([result(0, 1, 104)]))).toBe(
      'cannot_tell',
    )
    expect(verdictOf('peak', scoreSetUp([result(0, 1, 100)]), scoreSetUp([result(0, 1, 120)]))).toBe(
      'b_better',
    )
  })

  it('gives NaN, and no verdict, for what was not measured', () => {
    const empty = scoreSetUp([syntheticResult({})])
    expect(empty.peakKw).toBeNaN()
    expect(compareSetUps(empty, empty).every((line) => line.verdict === 'cannot_tell')).toBe(true)
  })
})
