import { describe, expect, it } from 'vitest'
import { lineTransferSchema } from '../../core/line/lineMap.ts'
import { createLineTransfer } from '../../core/line/lineTransfer.ts'
import {
  fromLineTransfer,
  parsePoints,
  plainTransfer,
  toLineTransfer,
} from '../../dashboard/parts/link/columnTransfer.ts'
import { patternGroups } from '../../dashboard/parts/link/patternGroups.ts'

describe('parsePoints', () => {
  it('reads pairs parted by white space, an equals sign or a semicolon, decimal commas too', () => {
    expect(parsePoints('0.5 0\n\n 1 = 2\n4,5;700\n−1 3')).toEqual([
      [0.5, 0],
      [1, 2],
      [4.5, 700],
      [-1, 3],
    ])
  })

  it.each(['1', '1 2 3', '1 x', 'a b'])('names the line %s that is no pair', (line) => {
    expect(() => parsePoints(`1 2\n${line}`)).toThrow(`line 2 “${line}”`)
  })
})

describe('toLineTransfer', () => {
  it('gives a table in rising order that reads between its points', () => {
    const transfer = toLineTransfer({ ...plainTransfer, kind: 'table', points: '4.5 700\n0.5 0' })
    expect(lineTransferSchema.parse(transfer)).toEqual(transfer)
    expect(createLineTransfer(transfer)(2.5)).toBeCloseTo(350)
  })

  it('gives a thermistor beside a resistor: at half the supply it has the resistance of the other one', () => {
    const transfer = toLineTransfer({ ...plainTransfer, kind: 'thermistor', beta: 3435, r0Ohm: 2490 })
    expect(createLineTransfer(transfer)(2.5)).toBeCloseTo(25)
  })

  it('leaves out what changes nothing', () => {
    expect(toLineTransfer(plainTransfer)).toBeUndefined()
    expect(toLineTransfer({ ...plainTransfer, kind: 'linear' })).toBeUndefined()
  })

  it.each([
    [{ kind: 'table', points: '1 2' }, /two points/],
    [{ kind: 'thermistor' }, /needs β/],
    [{ kind: 'thermistor', thermistor: 'steinhart', a: 1e-3 }, /A, B and C/],
    [{ kind: 'thermistor', thermistor: 'points', points: '' }, /two points/],
  ] as const)('says what is missing in %j', (part, message) => {
    expect(() => toLineTransfer({ ...plainTransfer, ...part })).toThrow(message)
  })

  it.each([
    { type: 'linear', scale: 2, offset: -1 },
    {
      type: 'table',
      points: [
        [0, 1],
        [2, 3],
      ],
    },
    { type: 'thermistor', model: { a: 1e-3, b: 2e-4, c: 1e-7 } },
    {
      type: 'thermistor',
      model: {
        points: [
          [300, 80],
          [2000, 20],
        ],
      },
      divider: { supply_V: 5, fixed_ohm: 1000, sender: 'to_supply' },
    },
  ] as const)('gives back what a saved map says: %j', (transfer) => {
    const parsed = lineTransferSchema.parse(transfer)
    expect(toLineTransfer(fromLineTransfer(parsed))).toEqual(parsed)
  })
})

describe('patternGroups', () => {
  it('names the groups in their order, those without a name by their number', () => {
    expect(patternGroups('t=(\\d+) (?<rpm>\\d+)(?: x)? [(](\\d)\\)')).toEqual(['group 1', 'rpm', 'group 3'])
  })

  it('gives none for a pattern that is refused or no pattern at all', () => {
    expect(patternGroups('(a+)+')).toEqual([])
    expect(patternGroups('(')).toEqual([])
    expect(patternGroups('')).toEqual([])
  })
})
