import { describe, expect, it } from 'vitest'
import { shownWithDoubt } from '../../dashboard/words/units.ts'

describe('shownWithDoubt', () => {
  it('gives figure and doubt in the decimals of the unit', () => {
    expect(shownWithDoubt(61.4, 2.2, 'kW')).toEqual({ value: '61', half: '2' })
    expect(shownWithDoubt(61.4, 1, 'kW')).toEqual({ value: '61', half: '1' })
  })

  it('is a decimal finer where the doubt would read as nothing', () => {
    expect(shownWithDoubt(19.63, 0.24, 'kW')).toEqual({ value: '19.6', half: '0.2' })
    // 0.24 kW are 0.32 hp of 745.7 W.
    expect(shownWithDoubt(19.63, 0.24, 'hp')).toEqual({ value: '26.3', half: '0.3' })
  })
})
