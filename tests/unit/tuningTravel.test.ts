import { describe, expect, it } from 'vitest'
import { createTravel } from '../../core/tuning/travel.ts'

describe('createTravel', () => {
  it('forgets what is older than its window', () => {
    const travel = createTravel(1)
    for (let i = 0; i <= 50; i++) travel.over(i / 50, i < 10 ? 5 : 0)
    expect(travel.over(1.1, 0)).toBe(5)
    expect(travel.over(1.3, 0)).toBe(0)
  })

  it('is greatest less least of the window', () => {
    const travel = createTravel(1)
    let last = 0
    for (let i = 0; i <= 200; i++) last = travel.over(i / 50, Math.sin((2 * Math.PI * i) / 50))
    expect(last).toBeCloseTo(2, 1)
  })

  it('passes over a missing reading', () => {
    const travel = createTravel(1)
    travel.over(0, 1)
    expect(travel.over(0.1, Number.NaN)).toBe(0)
    expect(travel.over(0.2, 3)).toBe(2)
  })
})
