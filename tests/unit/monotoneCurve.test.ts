import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { solveLeastSquares } from '../../core/numeric/linearSystem.ts'
import {
  createMonotoneCurve,
  curveInverse,
  curveSlope,
  curveValue,
} from '../../core/numeric/monotoneCurve.ts'

/** Two to twenty points, x and y rising by steps from 0.001 to 10, y falling on demand. */
const risingPoints = fc
  .record({
    steps: fc.array(
      fc.tuple(
        fc.double({ min: 0.001, max: 10, noNaN: true }),
        fc.double({ min: 0.001, max: 10, noNaN: true }),
      ),
      {
        minLength: 1,
        maxLength: 20,
      },
    ),
    isFalling: fc.boolean(),
  })
  .map(({ steps, isFalling }) => {
    const x = [-3]
    const y = [isFalling ? 5 : -5]
    for (const [dx, dy] of steps) {
      x.push(x[x.length - 1] + dx)
      y.push(y[y.length - 1] + (isFalling ? -dy : dy))
    }
    return { x, y, isFalling }
  })

describe('createMonotoneCurve', () => {
  test('passes through every point exactly', () => {
    fc.assert(
      fc.property(risingPoints, ({ x, y }) => {
        const curve = createMonotoneCurve(x, y)
        for (let i = 0; i < x.length; i++) expect(curveValue(curve, x[i])).toBe(y[i])
      }),
    )
  })

  test('never turns back between points and never leaves their values', () => {
    fc.assert(
      fc.property(risingPoints, ({ x, y, isFalling }) => {
        const curve = createMonotoneCurve(x, y)
        const sign = isFalling ? -1 : 1
        let before = -Infinity
        for (let i = 0; i < x.length - 1; i++) {
          for (let part = 0; part < 20; part++) {
            const value = sign * curveValue(curve, x[i] + ((x[i + 1] - x[i]) * part) / 20)
            // Rounding of a value near 10² is some 1e-14.
            expect(value).toBeGreaterThanOrEqual(before - 1e-12)
            before = value
          }
        }
      }),
    )
  })

  test('curveInverse undoes curveValue', () => {
    fc.assert(
      fc.property(risingPoints, fc.double({ min: 0, max: 1, noNaN: true }), ({ x, y }, share) => {
        const curve = createMonotoneCurve(x, y)
        const first = y[0]
        const last = y[y.length - 1]
        // The sum can round to a value just past the last, where there is nothing to find.
        const rounded = first + share * (last - first)
        const wanted = Math.max(Math.min(rounded, Math.max(first, last)), Math.min(first, last))
        const at = curveInverse(curve, wanted)
        expect(at).toBeLessThanOrEqual(x[x.length - 1])
        expect(curveValue(curve, at)).toBeCloseTo(wanted, 9)
      }),
    )
  })

  test('curveInverse stays on the curve for a value one rounding before its last', () => {
    fc.assert(
      fc.property(risingPoints, ({ x, y, isFalling }) => {
        const curve = createMonotoneCurve(x, y)
        const last = y[y.length - 1]
        const tiny = Number.EPSILON * Math.max(1, Math.abs(last))
        const wanted = isFalling ? last + tiny : last - tiny
        expect(curveValue(curve, curveInverse(curve, wanted))).toBeCloseTo(wanted, 9)
      }),
      { numRuns: 2000 },
    )
  })

  test('curveSlope is the derivative of curveValue', () => {
    const curve = createMonotoneCurve([0, 1, 3, 4], [0, 2, 3, 7])
    for (const x of [0.3, 1.7, 2.9, 3.6]) {
      const numeric = (curveValue(curve, x + 1e-6) - curveValue(curve, x - 1e-6)) / 2e-6
      expect(curveSlope(curve, x)).toBeCloseTo(numeric, 5)
    }
  })

  test('gives a straight line for two points', () => {
    const line = createMonotoneCurve([1, 3], [10, 20])
    expect(curveValue(line, 1.5)).toBeCloseTo(12.5, 12)
    expect(curveInverse(line, 17.5)).toBeCloseTo(2.5, 12)
  })

  test('gives NaN for NaN and outside its range', () => {
    const curve = createMonotoneCurve([0, 1, 2], [0, 1, 4])
    for (const x of [NaN, -1e-9, 2.0000001, Infinity, -Infinity]) {
      expect(curveValue(curve, x)).toBeNaN()
      expect(curveSlope(curve, x)).toBeNaN()
    }
    for (const y of [NaN, -0.001, 4.001, Infinity]) expect(curveInverse(curve, y)).toBeNaN()
  })

  test('names the offending value for points it cannot use', () => {
    expect(() => createMonotoneCurve([0], [1])).toThrow('1 x and 1 y')
    expect(() => createMonotoneCurve([0, 1, 1], [0, 1, 2])).toThrow('invalid point 2: 1 after 1')
    expect(() => createMonotoneCurve([0, 1, 2], [0, 2, 1])).toThrow('invalid point 2: 1 after 2')
    expect(() => createMonotoneCurve([0, NaN], [0, 1])).toThrow(RangeError)
  })
})

describe('solveLeastSquares', () => {
  test('finds the exact solution of a square system', () => {
    const [x, y] = solveLeastSquares(
      [
        [2, 1],
        [1, -1],
      ],
      [5, 1],
    )
    expect(x).toBeCloseTo(2, 12)
    expect(y).toBeCloseTo(1, 12)
  })

  test('leaves residuals that are at right angles to every column', () => {
    const rows = [
      [1, 0],
      [1, 1],
      [1, 2],
      [1, 4],
    ]
    const wanted = [1, 3, 2, 6]
    const solution = solveLeastSquares(rows, wanted)
    for (const column of [0, 1]) {
      const dot = rows.reduce(
        (sum, row, i) => sum + row[column] * (row[0] * solution[0] + row[1] * solution[1] - wanted[i]),
        0,
      )
      expect(dot).toBeCloseTo(0, 12)
    }
  })

  test('throws for dependent columns and for too few rows', () => {
    expect(() =>
      solveLeastSquares(
        [
          [1, 2],
          [2, 4],
          [3, 6],
        ],
        [1, 2, 3],
      ),
    ).toThrow(RangeError)
    expect(() => solveLeastSquares([[1, 2]], [1])).toThrow(RangeError)
  })
})
