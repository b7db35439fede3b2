import { describe, expect, it } from 'vitest'
import type { Pull } from '../../core/contract/result.ts'
import { pullRepeat } from '../../core/road/pullRepeat.ts'

const pull = (peak_kW: number | null, rpm_to = 4500): Pull => ({
  start_s: 0,
  end_s: 6,
  rpm_from: 2000,
  rpm_to,
  peak_kW,
  peak_at_rpm: 4000,
  correction: 'sae_j1349',
  curve: [
    { rpm: 3000, wheel_kW: peak_kW === null ? null : peak_kW - 10 },
    { rpm: 4000, wheel_kW: peak_kW },
  ],
})

describe('repeatability of pulls', () => {
  it('is the mean of the peaks with its 95 % interval', () => {
    const repeat = pullRepeat([pull(70), pull(72), pull(74)])
    expect(repeat?.pulls).toBe(3)
    expect(repeat?.peak_kW).toBeCloseTo(72, 6)
    expect(repeat?.scatter_kW).toBeCloseTo(2, 6)
    // Student's t for two degrees of freedom is 4.303.
    expect(repeat?.half_band_kW).toBeCloseTo((4.303 * 2) / Math.sqrt(3), 2)
  })

  it('gives mean and scatter over engine speed', () => {
    const repeat = pullRepeat([pull(70), pull(74)])
    expect(repeat?.band.map(({ rpm }) => rpm)).toEqual([3000, 4000])
    expect(repeat?.band[0].wheel_kW).toBeCloseTo(62, 6)
  })

  it('leaves out a pull that ended much earlier, and those without power', () => {
    const repeat = pullRepeat([pull(70), pull(74), pull(50, 3200), pull(null)])
    expect(repeat?.pulls).toBe(2)
    expect(repeat?.peak_kW).toBeCloseTo(72, 6)
  })

  it('is nothing with one pull', () => {
    expect(pullRepeat([pull(70)])).toBeNull()
  })
})
