import { describe, expect, it } from 'vitest'
import { meanOf, medianOf } from '../../core/numeric/average.ts'

describe('medianOf', () => {
  it('is the middle value, or lies between the two middle ones, and leaves the order of the values', () => {
    const values = [9, 1, 10, 2]
    expect(medianOf(values)).toBe(5.5)
    expect(medianOf([9, 1, 10])).toBe(9)
    expect(values).toEqual([9, 1, 10, 2])
  })

  it('leaves out what is no number, and is NaN where nothing is left', () => {
    expect(medianOf([Number.NaN, 3, null, undefined, Number.POSITIVE_INFINITY, 5, 4])).toBe(4)
    expect(medianOf([null, Number.NaN])).toBeNaN()
    expect(medianOf([])).toBeNaN()
  })
})

describe('meanOf', () => {
  it('is NaN for none, and where one is NaN', () => {
    expect(meanOf([1, 2, 6])).toBe(3)
    expect(meanOf([])).toBeNaN()
    expect(meanOf([1, Number.NaN])).toBeNaN()
  })
})
