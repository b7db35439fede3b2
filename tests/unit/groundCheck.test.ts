import { describe, expect, it } from 'vitest'
import { checkGround, groundDoubt } from '../../dashboard/parts/bench/groundCheck.ts'

const entry = {
  channel: 'lambda',
  transfer: {
    kind: 'linear',
    points: [
      [0, 0.68],
      [5, 1.36],
    ],
  },
}
const perVolt = (1.36 - 0.68) / 5
const voltsAt = (lambda: number, offsetV: number, count = 500) =>
  Array.from({ length: count }, (_, i) => (lambda - 0.68) / perVolt + offsetV + 0.002 * Math.sin(i))

describe('checkGround', () => {
  it('finds the offset, and says what it did to λ and what is left', () => {
    const found = checkGround(voltsAt(0.95, 0.12), entry, 0.95, 0.005)
    expect(found.offsetV).toBeCloseTo(0.12, 3)
    expect(found.offsetLambda).toBeCloseTo(0.12 * perVolt, 4)
    // Half a digit evenly spread, and a sine of 2 mV.
    expect(found.uncertaintyV).toBeCloseTo(Math.hypot(0.005 / perVolt / Math.sqrt(3), 0.002 / Math.SQRT2), 4)
    expect(found.uncertaintyLambda).toBeCloseTo(found.uncertaintyV * perVolt, 6)
    expect(found.count).toBe(500)
  })

  it.each([
    [voltsAt(0.95, 0, 3), 0.95, entry, /only 3 readings/],
    [voltsAt(0.95, 0), 1.9, entry, /never says λ 1.9/],
    [voltsAt(0.95, 0.9), 0.95, entry, /invalid ground offset: 0.9/],
    [voltsAt(0.95, 0), 0.95, {}, /invalid transfer/],
  ])('says what is wrong', (volts, known, from, message) => {
    expect(() => checkGround(volts, from, known, 0.005)).toThrow(message)
  })
})

describe('groundDoubt', () => {
  it('asks for a warm, running engine, and for nothing more', () => {
    expect(groundDoubt(0, 85)).toMatch(/off/)
    expect(groundDoubt(850, 35)).toMatch(/not warm yet \(35 °C\)/)
    expect(groundDoubt(850, 85)).toBe('')
    expect(groundDoubt(850, Number.NaN)).toBe('')
  })
})
