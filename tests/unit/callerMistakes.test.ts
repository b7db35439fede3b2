import { describe, expect, test } from 'vitest'
import * as core from '../../core/index.ts'

const air = { temperatureC: 20, pressureKpa: 100, humidityPct: 50 }
const gas = { coPct: 1, co2Pct: 14, hcPpm: 100, o2Pct: 0.5, noxPpm: 0 }
const beta = { beta: 3500, r0Ohm: 2000, t0C: 25 }

/** Every scalar argument of the library's face. */
const ofNumber: Readonly<Record<string, (value: number) => unknown>> = {
  'stoichiometricRatio carbon': (carbon) => core.stoichiometricRatio({ carbon, hydrogen: 1.8, oxygen: 0 }),
  'stoichiometricRatio oxygen': (oxygen) => core.stoichiometricRatio({ carbon: 1, hydrogen: 1.8, oxygen }),
  lambdaFromPumpCurrent: (mA) => core.lambdaFromPumpCurrent(mA),
  pumpCurrentFromLambda: (lambda) => core.pumpCurrentFromLambda(lambda),
  cellTemperatureC: (ohm) => core.cellTemperatureC(ohm),
  'lambdaFromExhaustGas coPct': (coPct) => core.lambdaFromExhaustGas({ ...gas, coPct }),
  standardAtmosphere: (altitudeM) => core.standardAtmosphere(altitudeM).pressureKpa,
  saturationPressureKpa: (celsius) => core.saturationPressureKpa(celsius),
  'airDensityKgM3 temperatureC': (temperatureC) => core.airDensityKgM3({ ...air, temperatureC }),
  'airDensityKgM3 pressureKpa': (pressureKpa) => core.airDensityKgM3({ ...air, pressureKpa }),
  'densityAltitudeM temperatureC': (temperatureC) => core.densityAltitudeM({ ...air, temperatureC }),
  'powerCorrection pressureKpa': (pressureKpa) => core.powerCorrection('sae_j1349', { ...air, pressureKpa }),
  thermistorTemperatureC: (ohm) => core.thermistorTemperatureC(ohm, beta),
  'thermocoupleTemperatureC emfMv': (emfMv) => core.thermocoupleTemperatureC(emfMv, 20),
  'thermocoupleTemperatureC coldJunctionC': (celsius) => core.thermocoupleTemperatureC(10, celsius),
}

/** Every argument that is an object, a list or bytes. */
const ofObject: Readonly<Record<string, (value: never) => unknown>> = {
  stoichiometricRatio: (value) => core.stoichiometricRatio(value),
  blendFuels: (value) => core.blendFuels(value),
  'blendFuels part': (value) => core.blendFuels([value]),
  'blendFuels fuel': (fuel) => core.blendFuels([{ fuel, volumeShare: 1 }]),
  'blendFuels share': (volumeShare) => core.blendFuels([{ fuel: 'ethanol', volumeShare }]),
  'lambdaFromPumpCurrent sensor': (sensor) => core.lambdaFromPumpCurrent(0.1, sensor),
  'pumpCurrentFromLambda sensor': (sensor) => core.pumpCurrentFromLambda(1, sensor),
  'cellTemperatureC sensor': (sensor) => core.cellTemperatureC(300, sensor),
  lambdaFromExhaustGas: (value) => core.lambdaFromExhaustGas(value),
  'lambdaFromExhaustGas fuel': (fuel) => core.lambdaFromExhaustGas(gas, fuel),
  airDensityKgM3: (value) => core.airDensityKgM3(value),
  densityAltitudeM: (value) => core.densityAltitudeM(value),
  'powerCorrection method': (method) => core.powerCorrection(method, air),
  'powerCorrection air': (value) => core.powerCorrection('std', value),
  'thermistorTemperatureC model': (model) => core.thermistorTemperatureC(1000, model),
  crc16: (value) => core.crc16(value),
  decodeLine: (value) => core.decodeLine(value),
  encodeLine: (value) => core.encodeLine(value),
  scanCapture: (value) => core.scanCapture(value),
  createPipeline: (value) => core.createPipeline(value),
  compareRuns: (value) => core.compareRuns(value, value),
  advise: (value) => core.advise(value, {}),
}

describe("a caller's mistake is a RangeError with the value in its text", () => {
  for (const [name, call] of Object.entries(ofNumber)) {
    test.each([
      ['null', null],
      ['"12"', '12'],
      ['true', true],
      ['a list of 0', []],
    ])(`${name} takes no %s for a number`, (shown, value) => {
      expect(() => call(value as never)).toThrow(RangeError)
      expect(() => call(value as never)).toThrow(shown)
    })
    test(`${name} of a missing reading is NaN`, () => {
      expect(call(Number.NaN)).toBeNaN()
    })
  }

  for (const [name, call] of Object.entries(ofObject)) {
    test.each([
      ['null', null],
      ['7', 7],
      ['true', true],
    ])(`${name} takes no %s`, (shown, value) => {
      expect(() => call(value as never)).toThrow(RangeError)
      if (name !== 'advise') expect(() => call(value as never)).toThrow(shown)
    })
  }

  test.each([
    [{}],
    [{ beta: 0, r0Ohm: 2000, t0C: 25 }],
    [{ beta: 3500, r0Ohm: -1, t0C: 25 }],
    [{ beta: 3500, t0C: 25 }],
    [{ a: 1e-3, b: '2e-4', c: Number.NaN }],
  ])('a thermistor of %j has no coefficients', (model) => {
    expect(() => core.thermistorTemperatureC(1000, model as never)).toThrow(RangeError)
  })

  test('an unknown kind of line is named', () => {
    expect(() => core.encodeLine({ kind: 'smoke' } as never)).toThrow('"smoke"')
  })
})
