import { describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import type { Box, Fitted, Part } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { sizesWord, sizeWord } from '../../core/tuning/sizeWords.ts'
import { drive, withPart } from '../support/jettingCar.ts'

const jet = (part: Omit<Part, 'label'>, label = '71') => ({ label, ...part }) as Part

describe('sizeWord', () => {
  it('writes a bore in the unit that was chosen', () => {
    const part = jet({ bore_mm: 1.85 })
    expect(sizeWord(part, 'mm')).toBe('71 (1.85 mm)')
    expect(sizeWord(part, 'in')).toBe('71 (0.0728 in)')
    expect(sizeWord(part, 'thou')).toBe('71 (72.8 thou)')
    expect(sizeWord(part)).toBe('71 (1.85 mm)')
  })

  it('writes it as it was noted where no unit is chosen', () => {
    expect(sizeWord(jet({ bore_thou: 73 }))).toBe('71 (73 thou)')
    expect(sizeWord(jet({ bore_in: 0.073 }))).toBe('71 (0.073 in)')
    expect(sizeWord(jet({ bore: '73 thou' }))).toBe('71 (73 thou)')
    expect(sizeWord(jet({ bore_thou: 73 }), 'mm')).toBe('71 (1.854 mm)')
  })

  it('names the drill that a part is noted by, whatever the unit', () => {
    for (const unit of ['mm', 'in', 'thou', undefined] as const) {
      expect(sizeWord(jet({ drill: '49' }), unit)).toBe('71 (drill 49)')
      expect(sizeWord(jet({ bore: '#49', bore_mm: 1.8542 }), unit)).toBe('71 (drill 49)')
    }
  })

  it('gives the volume of a pump cam as it was noted, to a hundredth', () => {
    expect(sizeWord(jet({ volume_ml: 0.35 }, '2'))).toBe('2 (0.35 ml)')
  })

  it('keeps the third decimal of a millimetre where the second would hide a step', () => {
    expect(sizeWord(jet({ bore_mm: 1.725 }), 'mm')).toBe('71 (1.725 mm)')
  })

  it('does not say a size twice whose label says it', () => {
    expect(sizeWord(jet({ bore_mm: 1.8542 }, '73 thou'), 'thou')).toBe('73 thou')
    expect(sizeWord(jet({ bore_mm: 1.8542, drill: '49' }, '#49'), 'in')).toBe('#49')
  })

  it('writes the steps of a metering rod likewise', () => {
    const rod = jet({ cruise_in: 0.067, power_in: 0.052 }, 'B')
    expect(sizeWord(rod)).toBe('B (0.067 in at cruise, 0.052 in at power)')
    expect(sizeWord(jet({ cruise_mm: 1.7, power_mm: 1.3 }, 'B'), 'thou')).toBe(
      'B (66.9 thou at cruise, 51.2 thou at power)',
    )
  })
})

describe('sizesWord', () => {
  it('gives two sizes in one unit, so that they can be held against each other', () => {
    expect(sizesWord(jet({ drill: '51' }, '66'), jet({ drill: '49' }))).toBe('66 (drill 51) → 71 (drill 49)')
    expect(sizesWord(jet({ drill: '51' }, '66'), jet({ bore_mm: 1.85 }), 'in')).toBe(
      '66 (0.067 in) → 71 (0.0728 in)',
    )
    expect(sizesWord(jet({ bore_thou: 67 }, '66'), jet({ bore_in: 0.073 }))).toBe(
      '66 (1.702 mm) → 71 (1.854 mm)',
    )
    expect(sizesWord(jet({ turns: 1.5 }), jet({ turns: 1.75 }), 'in')).toBe('1.5 → 1.75 turns')
  })
})

describe('advice in the sizes of its owner', () => {
  const leanMain = withPart('main_jet', { bore_mm: 1.72 })
  const noted = (run: RunAnalysis, fitted: Fitted): RunAnalysis => ({
    ...run,
    result: { ...run.result, run: { ...run.result.run, fitted } },
  })
  const lean = drive(leanMain, 1)
  const main_jet = [
    { label: '66', bore_mm: 1.72 },
    { label: '71', bore_mm: 1.85 },
  ]
  const allText = (advice: ReturnType<typeof advise>) =>
    [advice.summary, ...(advice.next?.because ?? []), ...(advice.warnings ?? [])].join(' ')

  it('gives its reasons in the chosen unit, its figures in millimetres', () => {
    const advice = advise([lean], { main_jet }, { boreUnit: 'in' })
    expect(allText(advice)).toContain('Main jet x (0.0677 in) → 71 (0.0728 in)')
    expect(allText(advice)).not.toContain(' mm')
    expect(advice.next?.to.bore_mm).toBe(1.85)
    const car = { id: 'x', units: { bore: 'thou' } }
    expect(allText(advise([lean], { main_jet }, { car }))).toContain('71 (72.8 thou)')
    expect(allText(advise([lean], { main_jet }))).toContain('71 (1.85 mm)')
  })

  it('names drills where fitted and box are noted by drills', () => {
    const fitted = { ...leanMain, main_jet: { label: '66', drill: '51' } } as Fitted
    const advice = advise([noted(lean, fitted)], { main_jet: [{ label: '71', drill: '49' }] } as Box, {
      boreUnit: 'in',
    })
    expect(allText(advice)).toContain('Main jet 66 (drill 51) → 71 (drill 49)')
    expect(formatAdvice(advice)).toContain('Main jet 66 (drill 51) → 71 (drill 49), richer')
  })

  it('says a size that the box lacks in the same unit, with the drills beside it for who measures by drills', () => {
    const far = { main_jet: [{ label: '40', bore_mm: 1 }] }
    expect(allText(advise([lean], far, { boreUnit: 'thou' }))).toMatch(/of about 7\d(\.\d)? thou would/)
    const fitted = { ...leanMain, main_jet: { label: '66', drill: '51' } } as Fitted
    const byDrill = advise([noted(lean, fitted)], far, { boreUnit: 'in' })
    expect(allText(byDrill)).toMatch(/of about 0\.07\d+ in \(drill (49|50) goes in, (48|49) does not\) would/)
    expect(byDrill.missing_sizes).toMatchObject([{ part: 'main_jet', bore_mm: expect.any(Number) }])
  })

  it('is printed and sent to the terminal in the same words', () => {
    const advice = advise([lean], { main_jet }, { boreUnit: 'thou' })
    expect(formatAdvice(advice)).toContain('Main jet x (67.7 thou) → 71 (72.8 thou), richer')
    const sheet = reportHtml({ analysis: lean, advice, boreUnit: 'thou' })
    expect(sheet).toContain('x (67.7 thou)')
    expect(sheet).not.toContain('1.72 mm')
    const byDrill = noted(lean, { main_jet: { label: '66', drill: '51' } } as Fitted)
    expect(reportHtml({ analysis: byDrill })).toContain('66 (drill 51)')
  })

  it('refuses a unit that is none for bores', () => {
    expect(() => advise([lean], { main_jet }, { boreUnit: 'kPa' })).toThrow(RangeError)
  })
})
