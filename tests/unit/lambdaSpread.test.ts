import { describe, expect, test } from 'vitest'
import { createLambdaSpread } from '../../core/tuning/mixture.ts'

describe('the mean target of a state', () => {
  test.each([0.95, 1.02, 0.97, 0.87])('is %s to the last digit when it never changes', (target) => {
    const spread = createLambdaSpread()
    for (let i = 0; i < 36_000; i++) spread.add(target + 0.01, 0.0099 + (i % 7) * 1e-5, target, 0.04, 0.04)
    expect(spread.target()).toBe(target)
  })

  test('is weighted by time when it moves', () => {
    const spread = createLambdaSpread()
    spread.add(0.9, 1, 0.8, 0.08, 0.08)
    spread.add(0.9, 3, 0.9, 0.08, 0.08)
    expect(spread.target()).toBeCloseTo(0.875, 12)
  })

  test('is NaN where no moment has one', () => {
    const spread = createLambdaSpread()
    spread.add(0.9, 1, Number.NaN, 0.08, 0.08)
    expect(spread.target()).toBeNaN()
  })
})
