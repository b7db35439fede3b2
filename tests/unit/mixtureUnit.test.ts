import { describe, expect, it } from 'vitest'
import type { LiveReading } from '../../core/contract/live.ts'
import { CoverageNews } from '../../dashboard/state/coverageNews.ts'
import { alarmText, worstText } from '../../dashboard/words/alarmWords.ts'
import { mixtureWords } from '../../dashboard/words/driveWords.ts'
import {
  createMixtureUnit,
  lambdaUnit,
  leanerText,
  mixtureRange,
  mixtureStepText,
  mixtureText,
  mixtureWithUnit,
} from '../../dashboard/words/mixtureUnit.ts'

const afr = createMixtureUnit('afr', 14)
const phi = createMixtureUnit('phi', Number.NaN)

describe('a mixture in the chosen unit', () => {
  it('is λ to hundredths, the ratio of the fuel to tenths, or φ', () => {
    expect(mixtureText(1.02, lambdaUnit)).toBe('1.02')
    expect(mixtureText(1.02, afr)).toBe('14.3')
    expect(mixtureText(0.8, phi)).toBe('1.25')
    expect(mixtureWithUnit(0.9, afr, 1)).toBe('AFR 12.60')
    expect(mixtureWithUnit(0.9, lambdaUnit)).toBe('λ 0.90')
  })

  it('shows a distance in the same unit, and a richer one as a greater φ', () => {
    expect(mixtureStepText(0.05, afr, { isSigned: true })).toBe('+0.7')
    expect(mixtureStepText(-0.05, lambdaUnit, { finer: 1, isSigned: true })).toBe('−0.050')
    expect(mixtureStepText(-0.05, phi, { isSigned: true })).toBe('+0.05')
  })

  it('tells how far leaner in each unit as a positive step, and a range with its lesser end first', () => {
    expect(leanerText(0.05, afr)).toBe('0.7')
    expect(leanerText(0.05, phi)).toBe('0.05')
    expect(leanerText(-0.05, phi, 0.8)).toBe('−0.08')
    expect(leanerText(null, lambdaUnit)).toBe('–')
    expect(mixtureRange([0.8, 1], phi)).toEqual([1, 1.25])
    expect(mixtureRange([0.8, 1], lambdaUnit)).toEqual([0.8, 1])
  })

  it('shows what is missing as a dash, and falls back to λ for a fuel without a ratio', () => {
    expect(mixtureText(null, afr)).toBe('–')
    expect(mixtureText(Number.NaN, lambdaUnit)).toBe('–')
    expect(createMixtureUnit('afr', Number.NaN).symbol).toBe('λ')
  })
})

describe('mixtureWords', () => {
  const reading = {
    state: 'cruise',
    banks: [{ bank: 1, lambda: 0.9 }],
    targetLambda: 1,
    bandRich: 0.04,
    bandLean: 0.02,
    stoichiometricRatio: 14,
  } as unknown as LiveReading

  it('says rich for too little air in every unit, with target and distance that agree with the number', () => {
    const said = (unit: 'lambda' | 'afr' | 'phi') => mixtureWords(reading, reading.banks[0], unit)
    expect(said('lambda')).toMatchObject({
      number: '0.90',
      word: 'RICH',
      distance: '0.10',
      target: 'target 0.96–1.02 λ',
    })
    expect(said('afr')).toMatchObject({
      number: '12.6',
      word: 'RICH',
      distance: '1.4',
      target: 'target 13.4–14.3 AFR',
    })
    expect(said('phi')).toMatchObject({
      number: '1.11',
      word: 'RICH',
      distance: '0.11',
      target: 'target 0.98–1.04 φ',
    })
  })
})

describe('worst values of alarms', () => {
  const units = { mixture: afr, temperature: 'F', pressure: 'inHg_vacuum' } as const
  it('carry the unit of what they are a value of', () => {
    expect(worstText('lean_under_load', 1, units)).toBe('AFR 14.0')
    expect(worstText('coolant_hot', 100, units)).toMatch(/^212.°F$/)
    // Nobody reads oil pressure in inches of mercury, least of all as vacuum.
    expect(worstText('oil_pressure_low', 68.95, units)).toMatch(/^10\.0.psi$/)
    expect(worstText('oil_pressure_low', 68.95, { ...units, pressure: 'kPa' })).toMatch(/^69.kPa$/)
    expect(worstText('fuel_pressure_high', 45, { ...units, pressure: 'bar_gauge' })).toMatch(/^0\.45.bar$/)
    expect(worstText('supply_low', 11.24, units)).toMatch(/^11\.24.V$/)
    expect(worstText('disk_nearly_full', 1.2e8, units)).toMatch(/^120.MB left$/)
    expect(worstText('board_clock_drift', 0.02, units)).toMatch(/^2\.0.%$/)
    expect(worstText('sensor_fault', null, units)).toBe('–')
  })
})

describe('CoverageNews', () => {
  it('tells once, for ten seconds, when an item is complete, and nothing of what was complete before', () => {
    const news = new CoverageNews()
    const step = (timeS: number, have: number) =>
      news
        .step(
          [
            { item: 'cruise', have, want: 90 },
            { item: 'idle', have: 60, want: 60 },
          ],
          timeS,
        )
        .map(({ code, priority }) => `${priority} ${alarmText(code).reason}`)
    expect(step(0, 10)).toEqual([])
    expect(step(1, 90)).toEqual(['advisory cruise covered'])
    expect(step(10.9, 95)).toEqual(['advisory cruise covered'])
    expect(step(11.1, 96)).toEqual([])
    expect(step(500, 200)).toEqual([])
  })
})
