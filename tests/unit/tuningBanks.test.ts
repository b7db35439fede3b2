import { describe, expect, it } from 'vitest'
import { advise } from '../../core/tuning/advise.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { type SyntheticOptions, syntheticRun } from '../support/syntheticRun.ts'

const lambdaAt =
  (scale: number): SyntheticOptions['lambdaAt'] =>
  (_rpm, load, state) =>
    scale * (state === 'idle' ? 0.95 : load < 0.6 ? 1.02 : load < 0.78 ? 0.97 : 0.87)

/** A drive read by two sensors, each bank with its own mixture. */
function twoBanks(seed: number, first: number, second: number) {
  const one = syntheticRun({ seed, lambdaAt: lambdaAt(first), bank: 1 })
  const two = syntheticRun({ seed, lambdaAt: lambdaAt(second), bank: 2 })
  return { ...one, pieces: [...one.pieces, ...two.pieces] }
}

describe('two banks', () => {
  it('are compared each by itself: one bank that went leaner is named', () => {
    const comparison = compareRuns(twoBanks(1, 1, 1), twoBanks(2, 1, 1.07))
    const banks = comparison.banks as Record<string, { verdict: string }>
    expect(banks[1].verdict).toBe('no_difference')
    expect(banks[2].verdict).toBe('leaner')
  })

  it('leave out the bank that one run lacks: its offset is no change', () => {
    const alone = syntheticRun({ seed: 3, lambdaAt: lambdaAt(1), bank: 1 })
    const comparison = compareRuns(twoBanks(4, 1, 1.1), alone)
    expect(comparison.verdict).toBe('no_difference')
    expect(comparison.banks).toBeUndefined()
  })

  it('stand each in advice with their own λ, and the leaner one decides under load', () => {
    const run = twoBanks(5, 0.98, 1.05)
    const advice = advise([run], { main_jet: [{ label: '72', bore_mm: 1.88 }] })
    const banks = advice.banks as Record<string, Record<string, { lambda: number; verdict: string }>>
    expect(banks[1].power.lambda).toBeCloseTo(0.87 * 0.98, 1)
    expect(banks[2].power.verdict).toBe('lean')
    expect(banks[1].power.verdict).not.toBe('lean')
    expect(advice.states.power.lambda!).toBeGreaterThan(0.9)
  })

  it('are not told apart where there is one sensor', () => {
    const advice = advise([syntheticRun({ seed: 6, lambdaAt: lambdaAt(1) })], {})
    expect(advice.banks).toBeUndefined()
  })
})
