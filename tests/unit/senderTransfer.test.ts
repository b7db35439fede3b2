import { describe, expect, test } from 'vitest'
import { applyTransferInto, parseSenderTransfer } from '../../core/sensing/senderTransfer.ts'

describe('parseSenderTransfer', () => {
  test('reads a line and refuses voltages outside its span', () => {
    const transfer = parseSenderTransfer({
      kind: 'linear',
      points: [
        [0.5, 0],
        [4.5, 700],
      ],
      span_V: [0.3, 4.7],
    })
    expect(transfer(2.5)).toBeCloseTo(350, 9)
    expect(transfer(0.1)).toBeNaN()
    expect(transfer(NaN)).toBeNaN()
  })

  test('reads a table in any order and does not go beyond it', () => {
    const points = [
      [3, 10],
      [1, 100],
      [2, 40],
    ]
    const transfer = parseSenderTransfer({ kind: 'table', points })
    expect(transfer(2)).toBe(40)
    expect(transfer(1.5)).toBeGreaterThan(40)
    expect(transfer(1.5)).toBeLessThan(100)
    expect(transfer(3.1)).toBeNaN()
  })

  test('reads a thermistor in a divider by all three models', () => {
    const circuit = { kind: 'thermistor', supply_V: 5, fixed_ohm: 2490 }
    // 2502 Ω at 20 °C with 2490 Ω to 5 V gives 2.50601 V (a published coolant sender).
    const steinhart = { a: 0.001335147714, b: 0.0002561683193, c: 1.496306133e-7 }
    expect(parseSenderTransfer({ ...circuit, ...steinhart })(2.50601)).toBeCloseTo(19.99, 1)
    const beta = { beta: 3619.39, r0_ohm: 2044, t0_C: 25 }
    expect(parseSenderTransfer({ ...circuit, ...beta })(2.50601)).toBeCloseTo(20.1, 0)
    const points = [
      [5975, 0],
      [2502, 20],
      [1152, 40],
    ]
    const table = parseSenderTransfer({ ...circuit, points })
    expect(table(2.50601)).toBeCloseTo(20, 2)
    expect(table(5)).toBeNaN()
    const flipped = parseSenderTransfer({ ...circuit, points, sender: 'to_supply' })
    expect(flipped(5 - 2.50601)).toBeCloseTo(20, 2)
  })

  test('names the entry and the value for what it cannot use', () => {
    expect(() => parseSenderTransfer(undefined)).toThrow('expected kind linear, table or thermistor')
    expect(() => parseSenderTransfer({ kind: 'magic' })).toThrow('{"kind":"magic"}')
    expect(() => parseSenderTransfer({ kind: 'linear', points: [[0, 1]] })).toThrow('invalid points: 1')
    expect(() =>
      parseSenderTransfer({
        kind: 'linear',
        points: [
          [0, 1],
          [1, '2'],
        ],
      }),
    ).toThrow('invalid points: [1,"2"]')
    expect(() =>
      parseSenderTransfer({
        kind: 'table',
        points: [
          [0, 1],
          [1, 1],
        ],
      }),
    ).toThrow(RangeError)
    expect(() => parseSenderTransfer({ kind: 'thermistor', supply_V: 0 })).toThrow('invalid supply_V: 0')
    const circuit = { kind: 'thermistor', supply_V: 5, fixed_ohm: 1000 }
    expect(() => parseSenderTransfer({ ...circuit, a: 1e-3 })).toThrow('invalid b: undefined')
  })

  test('applyTransferInto converts a column in place', () => {
    const transfer = parseSenderTransfer({
      kind: 'linear',
      points: [
        [0, 0],
        [5, 100],
      ],
    })
    const column = Float64Array.of(1, NaN, 2.5)
    expect([...applyTransferInto(column, column, transfer)]).toEqual([20, NaN, 50])
  })
})
