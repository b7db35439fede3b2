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

  it('is empty without an opening that has a trace', () => {
    expect(tipInsFigure([{ ...opening(0.9), trace: undefined }], lambdaUnit)).toBe('')
  })
})
