import { describe, expect, it } from 'vitest'
import type { SteadyPiece } from '../../core/contract/result.ts'
import { estimateMean } from '../../core/tuning/meanInterval.ts'

const piece = (timeS: number, lambda: number, more: Partial<SteadyPiece> = {}): SteadyPiece => ({
  bank: 1,
  state: 'cruise',
  visit: Math.floor(timeS / 10),
  timeS,
  seconds: 1,
  lambda,
  rpm: 2000,
  load: 0.5,
  manifoldKpa: 50,
  throttlePct: 15,
  coolantC: 85,
  ...more,
})

/** Sixty seconds in visits of ten, whose mixtures differ by 0.02 about 1.00. */
const drive = (more: Partial<SteadyPiece> = {}) =>
  Array.from({ length: 60 }, (_, i) => piece(i, 1 + (Math.floor(i / 10) % 2 ? 0.01 : -0.01), more))

describe('estimateMean', () => {
  it('weighs a piece by the seconds it stands for', () => {
    const { center } = estimateMean([piece(0, 1, { standsForS: 3 }), piece(20, 1.04)], 0)
    expect(center).toBeCloseTo(1.01, 6)
  })

  it('is narrow where every moment of the state was read, however the visits differ', () => {
    const read = estimateMean(drive({ standsForS: 1, doubtS: 0 }), 0).half
    const half = estimateMean(drive({ standsForS: 2, doubtS: 0 }), 0).half
    expect(read).toBeLessThan(0.006)
    expect(half).toBeGreaterThan(1.8 * read)
  })

  it('grows with the share of moments that another judge may count otherwise', () => {
    const halves = [0, 0.1, 0.3].map((doubtS) => estimateMean(drive({ standsForS: 1, doubtS }), 0).half)
    expect(halves[1]).toBeGreaterThan(halves[0])
    expect(halves[2]).toBeGreaterThan(halves[1])
  })

  it('grows with steady time that may be unlike the time read, the more the less was read', () => {
    const whole = estimateMean(drive({ standsForS: 1 }), 0).half
    const long = estimateMean(drive({ standsForS: 1 }), 0, 5).half
    const short = estimateMean(drive({ standsForS: 1 }).slice(0, 10), 0, 5).half
    expect(long).toBeGreaterThan(1.1 * whole)
    expect(short).toBeGreaterThan(0.025)
  })

  it('never falls below the systematic part', () => {
    expect(estimateMean(drive({ standsForS: 1 }), 0.01).half).toBeGreaterThan(1.96 * 0.01)
  })

  it('says nothing without pieces', () => {
    const { center, half } = estimateMean([], 0.001)
    expect(center).toBeNaN()
    expect(half).toBeNaN()
  })
})
