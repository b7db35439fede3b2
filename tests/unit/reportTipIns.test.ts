import { describe, expect, it } from 'vitest'
import type { Transient } from '../../core/contract/result.ts'
import { tipInsFigure } from '../../core/tuning/reportTipIns.ts'
import { lambdaUnit } from '../../core/units/mixtureUnit.ts'

const opening = (lambda: number): Transient => ({
  kind: 'tip_in',
  start_s: 10,
  rate_pct_s: 100,
  from_state: 'cruise',
  to_state: 'power',
  rpm: 2200,
  lean_peak: null,
  lean_peak_after_s: null,
  rich_peak: null,
  rich_peak_after_s: null,
  recovered_s: null,
  stumble: null,
  pattern: 'clean',
  target: 0.87,
  trace: Array.from({ length: 31 }, (_, i) => [i / 10 - 0.5, lambda]),
})

describe('tipInsFigure', () => {
  it('names the target over the traces and at their far end, where few of them lie', () => {
    const svg = tipInsFigure([opening(0.9), opening(0.92)], lambdaUnit)
    const name = svg.indexOf('class="axis end name">target<')
    expect(name).toBeGreaterThan(svg.lastIndexOf('<path'))
    expect(svg.slice(0, name)).toMatch(/<text x="414" y="[\d.]+" $/)
  })

  it('calls the middle one lean only where half of the openings are', () => {
    // From a cruise at λ 1.05 down to power: over the target of power at first, and clean.
    const fromCruise = Array.from({ length: 31 }, (_, i): [number, number] => [
      i / 10 - 0.5,
      i < 7 ? 1.05 : 0.87,
    ])
    const clean = { ...opening(0.87), trace: fromCruise }
    const lean = { ...clean, pattern: 'lean_at_once' as const }
    expect(tipInsFigure([clean, clean, lean], lambdaUnit)).toContain('>2 of 3 clean, 1 lean at once.<')
    expect(tipInsFigure([clean, lean, lean], lambdaUnit)).toContain(
      '>The middle one goes lean by 0.18, 0.1 s',
    )
  })

  it('is empty without an opening that has a trace', () => {
    expect(tipInsFigure([{ ...opening(0.9), trace: undefined }], lambdaUnit)).toBe('')
  })
})
