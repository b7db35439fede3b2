import { describe, expect, test } from 'vitest'
import { parseSenderTransfer } from '../../core/sensing/senderTransfer.ts'
import { differenceIn, fitSender } from '../../dashboard/parts/bench/senderFit.ts'

const divider = { supplyV: 5, fixedOhm: 2490, sender: 'to_ground' as const }

describe('fitSender', () => {
  test('a line through three points has the least squares of its errors', () => {
    // y = 175 x − 87.5 with +1, −2, +1 added: the mean shift is 0 and the slope stays, so the errors come back reversed.
    const fit = fitSender(
      'linear',
      [
        { x: 0.5, y: 1 },
        { x: 2.5, y: 348 },
        { x: 4.5, y: 701 },
      ],
      divider,
    )
    expect(fit.errors.map((error) => Number(error.toFixed(6)))).toEqual([-1, 2, -1])
    expect(fit.largest).toBeCloseTo(2, 6)
    expect(parseSenderTransfer(fit.transfer)(2.5)).toBeCloseTo(350, 6)
  })

  test('a thermistor gives back its measured temperatures through the divider', () => {
    const points = [
      { x: 5700, y: 0 },
      { x: 2500, y: 20 },
      { x: 187, y: 100 },
    ]
    const fit = fitSender('thermistor', points, divider)
    const read = parseSenderTransfer(fit.transfer)
    for (const { x, y } of points) expect(read((5 * x) / (x + 2490))).toBeCloseTo(y, 3)
    expect(fit.warning).toContain('fourth')
  })

  test('says how many points are wanted, and warns that two points always fit', () => {
    expect(() => fitSender('thermistor', [{ x: 100, y: 20 }], divider)).toThrow('three points')
    expect(() => fitSender('linear', [{ x: 1, y: undefined }], divider)).toThrow('two points')
    expect(() =>
      fitSender(
        'linear',
        [
          { x: 1, y: 1 },
          { x: 1, y: 2 },
        ],
        divider,
      ),
    ).toThrow('two voltages')
  })

  test('differenceIn leaves out the zero of a unit', () => {
    expect(differenceIn(10, 'F')).toBeCloseTo(18, 9)
    expect(differenceIn(10, 'C')).toBe(10)
  })
})
