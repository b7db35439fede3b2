import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { cellResistanceOhm, cellTemperatureC } from '../../core/sensing/cellTemperature.ts'
import { currentAtReferencePressureMa } from '../../core/sensing/exhaustPressure.ts'
import {
  createUncertaintyTable,
  lambdaUncertainty,
  lambdaUncertaintyInto,
  reportedLambdaUncertainty,
} from '../../core/sensing/lambdaUncertainty.ts'
import { planar42, planar49 } from '../../core/sensing/planarSensors.ts'
import {
  explainPumpCurrent,
  lambdaFromPumpCurrent,
  lambdaFromPumpCurrentInto,
  lambdaSlopePerMa,
  pumpCurrentFromLambda,
} from '../../core/sensing/pumpCurrent.ts'
import { createSensorCurve } from '../../core/sensing/sensorCurve.ts'
import { parseSensorCurve, sensors } from '../../core/sensing/userSensor.ts'

const current49 = fc.double({ min: -2, max: 2.25, noNaN: true })

describe('lambdaFromPumpCurrent', () => {
  test('rises with every step of current, for both built-in sensors', () => {
    for (const sensor of Object.values(sensors)) {
      const first = sensor.points[0].currentMa
      const last = sensor.points[sensor.points.length - 1].currentMa
      let before = 0
      for (let step = 0; step <= 4000; step++) {
        const lambda = lambdaFromPumpCurrent(Math.min(last, first + ((last - first) * step) / 4000), sensor)
        expect(lambda).toBeGreaterThan(before)
        before = lambda
      }
    }
  })

  test('is undone by pumpCurrentFromLambda', () => {
    fc.assert(
      fc.property(current49, (currentMa) => {
        expect(pumpCurrentFromLambda(lambdaFromPumpCurrent(currentMa))).toBeCloseTo(currentMa, 12)
      }),
    )
  })

  test('has no jump of slope at the table rows', () => {
    for (const { currentMa } of planar49.points.slice(1, -1)) {
      const left = lambdaSlopePerMa(currentMa - 1e-9)
      const right = lambdaSlopePerMa(currentMa + 1e-9)
      expect(Math.abs(left / right - 1)).toBeLessThan(1e-5)
    }
  })

  test('gives NaN for NaN, infinities and nonsense λ', () => {
    for (const value of [NaN, Infinity, -Infinity]) {
      expect(lambdaFromPumpCurrent(value)).toBeNaN()
      expect(pumpCurrentFromLambda(value)).toBeNaN()
    }
    expect(pumpCurrentFromLambda(0)).toBeNaN()
    expect(pumpCurrentFromLambda(-1)).toBeNaN()
  })

  test('as a column gives the same values, divides by the gain and keeps NaN', () => {
    const currents = Float64Array.of(-1.5, NaN, 0, 0.3, 3)
    const plain = lambdaFromPumpCurrentInto(new Float64Array(5), currents)
    for (let i = 0; i < 5; i++) expect(plain[i]).toBe(lambdaFromPumpCurrent(currents[i]))
    const corrected = lambdaFromPumpCurrentInto(new Float64Array(5), currents, planar49, 1.1)
    expect(corrected[0]).toBeCloseTo(lambdaFromPumpCurrent(-1.5 / 1.1), 12)
    expect(corrected[1]).toBeNaN()
  })
})

describe('explainPumpCurrent', () => {
  test('tells why there is no λ', () => {
    expect(explainPumpCurrent(0.2)).toBe('ok')
    expect(explainPumpCurrent(-2)).toBe('ok')
    expect(explainPumpCurrent(2.25)).toBe('ok')
    expect(explainPumpCurrent(-2.01)).toBe('beyond_rich')
    expect(explainPumpCurrent(2.28)).toBe('beyond_lean')
    expect(explainPumpCurrent(2.52)).toBe('air')
    expect(explainPumpCurrent(4)).toBe('beyond_lean')
    expect(explainPumpCurrent(1.6, planar42)).toBe('beyond_lean')
    expect(explainPumpCurrent(NaN)).toBe('no_reading')
  })

  test('says ok exactly where λ is a number', () => {
    fc.assert(
      fc.property(fc.double({ min: -10, max: 10, noNaN: true }), (currentMa) => {
        expect(explainPumpCurrent(currentMa) === 'ok').toBe(!Number.isNaN(lambdaFromPumpCurrent(currentMa)))
      }),
    )
  })
})

describe('parseSensorCurve', () => {
  const points = [
    [-1, 0.8],
    [0, 1],
    [1, 1.8],
  ]

  test('reads names, pairs and objects, and nothing as the default', () => {
    expect(parseSensorCurve('planar42')).toBe(planar42)
    expect(parseSensorCurve(undefined)).toBe(planar49)
    const own = parseSensorCurve({ name: 'bench', points, air_current_mA: 2.4, nominal_resistance_ohm: 200 })
    expect(own.name).toBe('bench')
    expect(own.airCurrentMa).toBe(2.4)
    expect(own.nominalResistanceOhm).toBe(200)
    expect(own.lambdaAtZero).toBe(1)
    expect(lambdaFromPumpCurrent(1, own)).toBeCloseTo(1.8, 12)
    const objects = parseSensorCurve({
      points: points.map(([current_mA, lambda]) => ({ current_mA, lambda })),
    })
    expect(lambdaFromPumpCurrent(0.4, objects)).toBe(lambdaFromPumpCurrent(0.4, own))
  })

  test('takes the points in any order', () => {
    const shuffled = parseSensorCurve({ points: [points[2], points[0], points[1]] })
    expect(shuffled.points.map(({ currentMa }) => currentMa)).toEqual([-1, 0, 1])
  })

  test('names the entry and the value for what it cannot use', () => {
    expect(() => parseSensorCurve('other')).toThrow('unknown sensor: other')
    expect(() => parseSensorCurve({ points: [[0, 1]] })).toThrow(RangeError)
    expect(() =>
      parseSensorCurve({
        points: [
          [0, 1],
          [1, '2'],
        ],
      }),
    ).toThrow('invalid point 1: [1,"2"]')
    expect(() =>
      parseSensorCurve({
        points: [
          [0, 1],
          [1, 0.9],
        ],
      }),
    ).toThrow('lambda 0.9 at 1 mA')
    expect(() =>
      parseSensorCurve({
        points: [
          [0, 1],
          [0, 1.2],
        ],
      }),
    ).toThrow('expected lambda to rise with current')
    expect(() =>
      parseSensorCurve({
        points: [
          [0, 1],
          [2540, 5],
        ],
      }),
    ).toThrow('invalid currentMa: 2540')
    expect(() => parseSensorCurve({ points, air_current_mA: '2.5' })).toThrow('invalid air_current_mA: "2.5"')
    expect(() => parseSensorCurve({ points, air_current_mA: -1 })).toThrow('invalid airCurrentMa: -1')
    expect(() => parseSensorCurve({ points, nominal_temperature_C: 78 })).toThrow('78')
    expect(() => parseSensorCurve(3)).toThrow(RangeError)
    expect(() => parseSensorCurve({ points: [null, [1, 2]] })).toThrow('invalid point 0')
  })

  test('createSensorCurve leaves the definition untouched', () => {
    const definition = {
      name: 'x',
      points: [
        { currentMa: 1, lambda: 2 },
        { currentMa: 0, lambda: 1 },
      ],
    }
    const copy = structuredClone(definition)
    createSensorCurve(definition)
    expect(definition).toEqual(copy)
  })
})

describe('cellTemperatureC', () => {
  test('falls with resistance and is undone by cellResistanceOhm', () => {
    fc.assert(
      fc.property(fc.double({ min: 5, max: 1e6, noNaN: true }), (ohm) => {
        expect(cellTemperatureC(ohm)).toBeGreaterThan(cellTemperatureC(ohm * 1.01))
        expect(cellResistanceOhm(cellTemperatureC(ohm)) / ohm).toBeCloseTo(1, 9)
      }),
    )
  })

  test('gives NaN for nonsense', () => {
    for (const ohm of [NaN, 0, -5, Infinity, 1e-9]) expect(cellTemperatureC(ohm)).toBeNaN()
    expect(cellResistanceOhm(-300)).toBeNaN()
  })
})

test('currentAtReferencePressureMa lowers a current read under pressure and leaves it alone at 101.3 kPa', () => {
  expect(currentAtReferencePressureMa(1, 101.3)).toBeCloseTo(1, 12)
  expect(currentAtReferencePressureMa(1, 150)).toBeLessThan(1)
  expect(currentAtReferencePressureMa(-1, 150)).toBeGreaterThan(-1)
  expect(currentAtReferencePressureMa(1, NaN)).toBeNaN()
  expect(() => currentAtReferencePressureMa(1, 0)).toThrow('invalid exhaustPressureKpa: 0')
})

describe('lambdaUncertainty', () => {
  test('is the root of the sum of the squares of its parts', () => {
    const u = lambdaUncertainty({ lambda: 0.9, quantisationMa: 0.01, noiseMa: 0.004, gainShare: 0.02 })
    expect(u.standard).toBeCloseTo(Math.hypot(u.curve, u.quantisation, u.noise, u.gain), 12)
    const slope = lambdaSlopePerMa(pumpCurrentFromLambda(0.9))
    expect(u.quantisation).toBeCloseTo((slope * 0.01) / Math.sqrt(12), 12)
    expect(u.noise).toBeCloseTo(slope * 0.004, 12)
    expect(u.gain).toBeCloseTo(slope * 0.405 * 0.02, 9)
  })

  test('averaging lowers noise alone', () => {
    const one = lambdaUncertainty({ lambda: 1.2, noiseMa: 0.01, quantisationMa: 0.01 })
    const hundred = lambdaUncertainty({ lambda: 1.2, noiseMa: 0.01, quantisationMa: 0.01, count: 100 })
    expect(hundred.noise).toBeCloseTo(one.noise / 10, 12)
    expect(hundred.curve).toBe(one.curve)
    expect(hundred.quantisation).toBe(one.quantisation)
  })

  test('is positive inside the sensor points and NaN outside and for NaN', () => {
    fc.assert(fc.property(current49, (currentMa) => lambdaUncertainty({ currentMa }).standard > 0))
    expect(lambdaUncertainty({ currentMa: 2.5 }).standard).toBeNaN()
    expect(lambdaUncertainty({ lambda: NaN }).standard).toBeNaN()
    expect(lambdaUncertainty({}).standard).toBeNaN()
  })

  test('grows away from λ 1 on both sides', () => {
    const at = (lambda: number) => lambdaUncertainty({ lambda }).curve
    expect(at(0.7)).toBeGreaterThan(at(0.8))
    expect(at(0.8)).toBeGreaterThan(at(1))
    expect(at(3)).toBeGreaterThan(at(1.7))
  })

  test('as a column agrees with the single value within 1 %', () => {
    const spread = { quantisationMa: 0.001, noiseMa: 0.003 }
    const table = createUncertaintyTable(spread)
    const currents = Float64Array.of(-1.9, -0.5, 0.01, 0.4, 2.2, NaN, 9)
    const column = lambdaUncertaintyInto(new Float64Array(7), currents, table)
    for (let i = 0; i < 5; i++) {
      const { standard } = lambdaUncertainty({ ...spread, currentMa: currents[i] })
      expect(Math.abs(column[i] / standard - 1)).toBeLessThan(0.01)
    }
    expect(column[5]).toBeNaN()
    expect(column[6]).toBeNaN()
  })

  test('reportedLambdaUncertainty joins the limit and the last digit', () => {
    expect(reportedLambdaUncertainty(0.03, 0)).toBeCloseTo(0.03 / Math.sqrt(3), 12)
    expect(reportedLambdaUncertainty(0, 0.01)).toBeCloseTo(0.01 / Math.sqrt(12), 12)
  })
})
