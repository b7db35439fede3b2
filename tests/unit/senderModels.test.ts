import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  createPressureSender,
  pressureKpaFromVoltage,
  pressureSenderFromPoints,
  pressureSenders,
  voltageFromPressureKpa,
} from '../../core/sensing/pressureSender.ts'
import {
  createThermistorTable,
  thermistorResistanceOhm,
  thermistorTemperatureC,
} from '../../core/sensing/thermistor.ts'
import { fitBeta, fitSteinhartHart } from '../../core/sensing/thermistorFit.ts'
import { thermocoupleEmfMv, thermocoupleTemperatureC } from '../../core/sensing/thermocouple.ts'
import {
  dividerResistanceOhm,
  dividerVoltage,
  voltageBeforeDivider,
} from '../../core/sensing/voltageDivider.ts'

const steinhart = { a: 1.335e-3, b: 2.56e-4, c: 1.5e-7 }
const beta = { beta: 3600, r0Ohm: 2000, t0C: 25 }
const table = createThermistorTable([
  { resistanceOhm: 5975, temperatureC: 0 },
  { resistanceOhm: 1152, temperatureC: 40 },
  { resistanceOhm: 175.7, temperatureC: 100 },
])

describe('thermistorTemperatureC', () => {
  test('falls with resistance and is undone by thermistorResistanceOhm for every model', () => {
    fc.assert(
      fc.property(fc.double({ min: 180, max: 5900, noNaN: true }), (ohm) => {
        for (const model of [steinhart, beta, table]) {
          const celsius = thermistorTemperatureC(ohm, model)
          expect(celsius).toBeGreaterThan(thermistorTemperatureC(ohm * 1.001, model))
          expect(thermistorResistanceOhm(celsius, model) / ohm).toBeCloseTo(1, 9)
        }
      }),
    )
  })

  test('gives NaN for nonsense, and outside a table', () => {
    for (const ohm of [NaN, 0, -10, Infinity]) {
      for (const model of [steinhart, beta, table]) expect(thermistorTemperatureC(ohm, model)).toBeNaN()
    }
    expect(thermistorTemperatureC(6100, table)).toBeNaN()
    expect(thermistorTemperatureC(170, table)).toBeNaN()
    expect(thermistorResistanceOhm(-280, beta)).toBeNaN()
    expect(thermistorResistanceOhm(120, table)).toBeNaN()
    expect(thermistorResistanceOhm(20, { a: 1e-3, b: 2e-4, c: -1e-7 })).toBeNaN()
  })

  test('takes the end points of a table', () => {
    expect(thermistorTemperatureC(5975, table)).toBeCloseTo(0, 9)
    expect(thermistorTemperatureC(175.7, table)).toBeCloseTo(100, 9)
  })
})

describe('fitSteinhartHart', () => {
  test('recovers the model that made the points', () => {
    const points = [-20, 0, 25, 60, 110].map((temperatureC) => ({
      temperatureC,
      resistanceOhm: thermistorResistanceOhm(temperatureC, steinhart),
    }))
    const { model, largestErrorK } = fitSteinhartHart(points)
    expect(model.a / steinhart.a).toBeCloseTo(1, 6)
    expect(model.c / steinhart.c).toBeCloseTo(1, 4)
    expect(largestErrorK).toBeLessThan(1e-6)
  })

  test('spreads the error of a misread point and says how large it is', () => {
    const points = [0, 30, 60, 90].map((temperatureC) => ({
      temperatureC: temperatureC === 60 ? 64 : temperatureC,
      resistanceOhm: thermistorResistanceOhm(temperatureC, steinhart),
    }))
    const { errorsK, largestErrorK } = fitSteinhartHart(points)
    expect(errorsK).toHaveLength(4)
    expect(largestErrorK).toBeGreaterThan(0.5)
    expect(largestErrorK).toBeLessThan(4)
  })

  test('says when three points make a curve that turns back', () => {
    const { isMonotone } = fitSteinhartHart([
      { resistanceOhm: 5000, temperatureC: 0 },
      { resistanceOhm: 1000, temperatureC: 80 },
      { resistanceOhm: 200, temperatureC: 20 },
    ])
    expect(isMonotone).toBe(false)
  })

  test('throws with the value for too few, repeated and impossible points', () => {
    const point = { resistanceOhm: 1000, temperatureC: 40 }
    expect(() => fitSteinhartHart([point, point])).toThrow('too few points: 2')
    expect(() => fitSteinhartHart([point, point, point])).toThrow(RangeError)
    expect(() => fitSteinhartHart([point, point, { resistanceOhm: -1, temperatureC: 3 }])).toThrow(
      'resistanceOhm: -1',
    )
    expect(() => fitBeta([point])).toThrow('too few points: 1')
    expect(() => fitBeta([point, { resistanceOhm: 5, temperatureC: NaN }])).toThrow('temperatureC: NaN')
    expect(() => createThermistorTable([point, point])).toThrow(RangeError)
  })
})

describe('type K thermocouple', () => {
  test('thermocoupleTemperatureC undoes thermocoupleEmfMv with any cold junction', () => {
    fc.assert(
      fc.property(
        fc.double({ min: -199, max: 1371, noNaN: true }),
        fc.double({ min: -40, max: 85, noNaN: true }),
        (hotC, coldC) => {
          expect(thermocoupleTemperatureC(thermocoupleEmfMv(hotC, coldC), coldC)).toBeCloseTo(hotC, 4)
        },
      ),
    )
  })

  test('thermocoupleEmfMv rises with temperature over its whole range', () => {
    for (let celsius = -268; celsius < 1371; celsius++) {
      expect(thermocoupleEmfMv(celsius + 1)).toBeGreaterThan(thermocoupleEmfMv(celsius))
    }
  })

  test('gives NaN outside its range, for NaN, and for an impossible cold junction', () => {
    expect(thermocoupleEmfMv(1373)).toBeNaN()
    expect(thermocoupleEmfMv(-271)).toBeNaN()
    expect(thermocoupleEmfMv(100, NaN)).toBeNaN()
    expect(thermocoupleTemperatureC(55, 0)).toBeNaN()
    expect(thermocoupleTemperatureC(-6, 0)).toBeNaN()
    expect(thermocoupleTemperatureC(10, NaN)).toBeNaN()
    expect(thermocoupleTemperatureC(NaN, 20)).toBeNaN()
    expect(thermocoupleTemperatureC(54.886, 0)).toBeCloseTo(1372, 1)
    expect(thermocoupleTemperatureC(-5.891, 0)).toBeCloseTo(-200, 1)
  })
})

describe('pressure senders', () => {
  test('pressureKpaFromVoltage undoes voltageFromPressureKpa for absolute, gauge and vacuum senders', () => {
    for (const reference of ['absolute', 'gauge', 'vacuum'] as const) {
      const sender = createPressureSender({
        atZero: 0.1,
        perKpa: 0.002,
        leastKpa: 0,
        mostKpa: 400,
        reference,
      })
      const kpa = reference === 'vacuum' ? 40 : 250
      const volts = voltageFromPressureKpa(kpa, sender, 4.9, 98)
      expect(pressureKpaFromVoltage(volts, sender, 4.9, 98)).toBeCloseTo(kpa, 9)
    }
  })

  test('a ratiometric sender reads the same whatever the supply', () => {
    const sender = pressureSenders.absolute_20_250
    expect(pressureKpaFromVoltage(1.8, sender, 5)).toBeCloseTo(100, 9)
    expect(pressureKpaFromVoltage(1.8 * 0.98, sender, 5 * 0.98)).toBeCloseTo(100, 9)
  })

  test('a gauge sender has no absolute pressure without the barometer', () => {
    const sender = createPressureSender({
      atZero: 0,
      perKpa: 0.01,
      leastKpa: 0,
      mostKpa: 100,
      reference: 'gauge',
    })
    expect(pressureKpaFromVoltage(1, sender)).toBeNaN()
    expect(pressureKpaFromVoltage(1, sender, 5, 100)).toBeCloseTo(120, 9)
  })

  test('gives NaN outside the span and for NaN', () => {
    expect(pressureKpaFromVoltage(0, pressureSenders.absolute_20_250)).toBeNaN()
    expect(pressureKpaFromVoltage(5, pressureSenders.absolute_15_115)).toBeNaN()
    expect(pressureKpaFromVoltage(NaN, pressureSenders.absolute_15_115)).toBeNaN()
  })

  test('pressureSenderFromPoints meets both points and refuses equal ones', () => {
    const sender = pressureSenderFromPoints([0.5, 0], [4.5, 700], { reference: 'gauge' })
    expect(pressureKpaFromVoltage(2.5, sender, 5, 100)).toBeCloseTo(450, 9)
    expect(() => pressureSenderFromPoints([0.5, 10], [4.5, 10])).toThrow('both at 10 kPa')
    expect(() => createPressureSender({ atZero: 0, perKpa: 0, leastKpa: 0, mostKpa: 1 })).toThrow('perKpa: 0')
  })
})

describe('voltage divider', () => {
  test('dividerResistanceOhm undoes dividerVoltage on either side', () => {
    fc.assert(
      fc.property(fc.double({ min: 1, max: 1e5, noNaN: true }), fc.boolean(), (ohm, isToSupply) => {
        const divider = {
          supplyV: 5,
          fixedOhm: 2490,
          sender: isToSupply ? 'to_supply' : 'to_ground',
        } as const
        expect(dividerResistanceOhm(dividerVoltage(ohm, divider), divider) / ohm).toBeCloseTo(1, 6)
      }),
    )
  })

  test('has no resistance at the rails: a short or an open wire', () => {
    const divider = { supplyV: 5, fixedOhm: 1000 }
    for (const volts of [0, 5, -0.1, 5.1, NaN]) expect(dividerResistanceOhm(volts, divider)).toBeNaN()
    expect(dividerVoltage(Infinity, divider)).toBe(5)
    expect(dividerVoltage(-1, divider)).toBeNaN()
  })

  test('voltageBeforeDivider scales up, and needs a lower resistor', () => {
    expect(voltageBeforeDivider(2.5, 10000, 2500)).toBeCloseTo(12.5, 12)
    expect(voltageBeforeDivider(2.5, 10000, 0)).toBeNaN()
  })
})
