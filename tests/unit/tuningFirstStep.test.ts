import { describe, expect, it } from 'vitest'
import type { Box, Fitted } from '../../core/contract/car.ts'
import { advise } from '../../core/tuning/advise.ts'
import { air } from '../support/jettingCar.ts'
import { type SyntheticOptions, syntheticRun } from '../support/syntheticRun.ts'

const rod = (cruise: number, power: number) => ({
  label: `${Math.round(100 * cruise)}/${Math.round(100 * power)}`,
  cruise_mm: cruise,
  power_mm: power,
})
const jet = (bore: number) => ({ label: String(Math.round(bore * 40)), bore_mm: bore })
/** A metering-rod carburettor whose jet is far too large, all else being right: at full throttle all the fuel comes through the ring. */
const rich: Fitted = {
  main_jet: jet(2.65),
  rod: rod(1.6, 1.26),
  rod_spring: { label: '9.5', opens_inHg: 9.5 },
}
const box: Box = {
  main_jet: [2.1, 2.15, 2.2, 2.25, 2.3, 2.35, 2.4, 2.45, 2.5, 2.55, 2.6, 2.65, 2.7].map(jet),
  rod: [
    rod(1.68, 1.3),
    rod(1.64, 1.3),
    rod(1.6, 1.34),
    rod(1.6, 1.3),
    rod(1.6, 1.22),
    rod(1.56, 1.26),
    rod(1.52, 1.26),
    rod(1.48, 1.22),
  ],
}
const ring = (bore: number, step: number) => bore ** 2 - step ** 2
const lambdaAt: SyntheticOptions['lambdaAt'] = (_rpm, load, state) => {
  if (state === 'idle') return 0.95
  const isPower = load >= 0.8
  const step = isPower ? 1.26 : 1.6
  const share = isPower ? 1 : 0.8
  const factor = 1 + share * (ring(2.65, step) / ring(2.45, step) - 1)
  if (isPower) return 0.865 / factor
  return (load < 0.6 ? 1.02 : 0.97) / factor
}

describe('the first of several steps', () => {
  it('does not take a rich state past its band to the lean side, for later steps to bring back', () => {
    const run = syntheticRun({ seed: 7, seconds: 800, fitted: rich, air, startMs: 86_400_000, lambdaAt })
    const { next } = advise([run], box)
    expect(next).toMatchObject({ part: 'main_jet', direction: 'leaner' })
    const expects = next!.expects as Record<string, { lambda: number }>
    expect(expects.cruise.lambda).toBeLessThan(1.07)
    expect(expects.part_throttle.lambda).toBeLessThan(1.01)
    expect(next!.to.bore_mm).toBeGreaterThanOrEqual(2.4)
  })
})
