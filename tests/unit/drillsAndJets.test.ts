import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { drillDiameterMm, drills, findDrills, parseBoreMm } from '../../core/tuning/drills.ts'
import {
  areaFactor,
  boreForAreaFactorMm,
  boreOfAreaMm,
  jetAreaMm2,
  jetFlowGS,
  rodJetAreaMm2,
} from '../../core/tuning/jetArea.ts'

describe('drills', () => {
  test('are listed from small to large without a repeat', () => {
    for (let i = 1; i < drills.length; i++)
      expect(drills[i].diameterMm).toBeGreaterThan(drills[i - 1].diameterMm)
    expect(drills).toHaveLength(106)
  })

  test('drillDiameterMm takes the ways a drill is written and throws with the name for others', () => {
    expect(drillDiameterMm('60')).toBeCloseTo(1.016, 12)
    expect(drillDiameterMm('#60')).toBe(drillDiameterMm('60'))
    expect(drillDiameterMm(' a ')).toBe(drillDiameterMm('A'))
    expect(drillDiameterMm(7)).toBe(drillDiameterMm('07'))
    for (const name of ['0', '81', 'AA', '', '1.5', '-3']) {
      expect(() => drillDiameterMm(name)).toThrow(`unknown drill: ${name}`)
    }
  })

  test('findDrills gives the drill that goes in, the one that stops and the nearest', () => {
    const fit = findDrills(1.85)
    expect(fit.goes?.name).toBe('50')
    expect(fit.stops?.name).toBe('49')
    expect(fit.nearest.name).toBe('49')
    for (const drill of drills) expect(findDrills(drill.diameterMm).goes).toBe(drill)
    expect(findDrills(0.1).goes).toBeUndefined()
    expect(findDrills(0.1).nearest.name).toBe('80')
    expect(findDrills(20).stops).toBeUndefined()
    expect(() => findDrills(0)).toThrow('invalid boreMm: 0')
    expect(() => findDrills(NaN)).toThrow('NaN')
  })

  test('parseBoreMm reads millimetres, inches, thousandths and drills', () => {
    expect(parseBoreMm('1.85')).toBe(1.85)
    expect(parseBoreMm('1,85 mm')).toBe(1.85)
    expect(parseBoreMm('0.073 in')).toBeCloseTo(1.8542, 9)
    expect(parseBoreMm('.073"')).toBeCloseTo(1.8542, 9)
    expect(parseBoreMm('73 thou')).toBeCloseTo(1.8542, 9)
    expect(parseBoreMm('#49')).toBeCloseTo(1.8542, 9)
    expect(parseBoreMm('drill B')).toBeCloseTo(6.0452, 9)
    expect(parseBoreMm('b')).toBeCloseTo(6.0452, 9)
    for (const text of ['', 'big', '0 mm', '-1', '1.2.3', '#99', '5 furlongs']) {
      expect(() => parseBoreMm(text)).toThrow(RangeError)
    }
  })
})

describe('jet areas', () => {
  const bore = fc.double({ min: 0.2, max: 10, noNaN: true })

  test('boreOfAreaMm undoes jetAreaMm2', () => {
    fc.assert(
      fc.property(bore, (boreMm) => {
        expect(boreOfAreaMm(jetAreaMm2(boreMm))).toBeCloseTo(boreMm, 12)
      }),
    )
  })

  test('a rod of no thickness leaves the jet open and one as thick as the bore closes it', () => {
    fc.assert(
      fc.property(bore, (boreMm) => {
        expect(rodJetAreaMm2(boreMm, 0)).toBe(jetAreaMm2(boreMm))
        expect(rodJetAreaMm2(boreMm, boreMm)).toBe(0)
      }),
    )
    expect(rodJetAreaMm2(2.4, 1.7)).toBeCloseTo((Math.PI / 4) * (5.76 - 2.89), 12)
  })

  test('boreForAreaFactorMm gives the wanted area factor, with and without a rod', () => {
    fc.assert(
      fc.property(
        bore,
        fc.double({ min: 0, max: 0.9 }),
        fc.double({ min: 0.5, max: 2, noNaN: true }),
        (boreMm, share, factor) => {
          const from = { boreMm, rodMm: Number.isNaN(share) ? 0 : share * boreMm }
          const to = { boreMm: boreForAreaFactorMm(from, factor), rodMm: from.rodMm }
          expect(areaFactor(from, to)).toBeCloseTo(factor, 9)
        },
      ),
    )
  })

  test('throws with the value for impossible sizes and passes NaN on', () => {
    expect(() => jetAreaMm2(0)).toThrow('invalid boreMm: 0')
    expect(() => jetAreaMm2(-1)).toThrow('-1')
    expect(() => rodJetAreaMm2(2, 2.1)).toThrow('invalid rodMm: 2.1')
    expect(() => areaFactor({ boreMm: 2, rodMm: 2 }, { boreMm: 2 })).toThrow('invalid rodMm: 2')
    expect(() => jetFlowGS(1, 1.2, 745, 1000)).toThrow('1.2')
    expect(jetAreaMm2(NaN)).toBeNaN()
    expect(rodJetAreaMm2(2, NaN)).toBeNaN()
    expect(rodJetAreaMm2(NaN, 1)).toBeNaN()
  })
})
