import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { airDensityCipm2007KgM3 } from '../../core/air/cipm2007.ts'
import { densityAltitudeM } from '../../core/air/densityAltitude.ts'
import {
  airDensityKgM3,
  dryPressureKpa,
  explainAirState,
  oxygenShare,
  vapourPressureKpa,
} from '../../core/air/humidAir.ts'
import {
  type PowerCorrectionMethod,
  powerCorrection,
  powerCorrectionLimits,
} from '../../core/air/powerCorrection.ts'
import { dewPointC, saturationPressureKpa } from '../../core/air/saturationPressure.ts'
import {
  altitudeOfDensityM,
  geopotentialAltitudeM,
  pressureAltitudeM,
  standardAtmosphere,
} from '../../core/air/standardAtmosphere.ts'
import { guessPressureKind, seaLevelPressureKpa, stationPressureKpa } from '../../core/air/stationPressure.ts'

const altitude = fc.double({ min: -5000, max: 84852, noNaN: true })
const methods: PowerCorrectionMethod[] = ['sae_j1349', 'iso_1585', 'din_70020', 'std']

describe('standardAtmosphere', () => {
  test('is undone by pressureAltitudeM and altitudeOfDensityM', () => {
    fc.assert(
      fc.property(altitude, (altitudeM) => {
        const air = standardAtmosphere(altitudeM)
        expect(pressureAltitudeM(air.pressureKpa)).toBeCloseTo(altitudeM, 5)
        expect(altitudeOfDensityM(air.densityKgM3)).toBeCloseTo(altitudeM, 5)
      }),
    )
  })

  test('thins with every metre and has no step at a layer boundary', () => {
    fc.assert(
      fc.property(altitude, (altitudeM) => {
        const above = Math.min(84852, altitudeM + 1)
        const lower = standardAtmosphere(above - 1)
        const upper = standardAtmosphere(above)
        expect(upper.pressureKpa).toBeLessThan(lower.pressureKpa)
        expect(upper.pressureKpa / lower.pressureKpa).toBeGreaterThan(0.9997)
      }),
    )
  })

  test('throws with the value outside its range and passes NaN on', () => {
    expect(() => standardAtmosphere(84853)).toThrow(
      new RangeError('invalid altitudeM: 84853 (expected -5000 to 84852)'),
    )
    expect(() => standardAtmosphere(-Infinity)).toThrow(RangeError)
    expect(() => pressureAltitudeM(0)).toThrow(RangeError)
    expect(() => altitudeOfDensityM(-1)).toThrow(RangeError)
    expect(standardAtmosphere(NaN).pressureKpa).toBeNaN()
    expect(pressureAltitudeM(NaN)).toBeNaN()
  })

  test('geopotentialAltitudeM is a little lower than the map altitude', () => {
    expect(geopotentialAltitudeM(2000)).toBeCloseTo(1999.371, 2)
  })
})

describe('water vapour', () => {
  test('saturationPressureKpa rises with temperature, over ice and water', () => {
    for (let celsius = -100; celsius < 200; celsius += 0.5) {
      expect(saturationPressureKpa(celsius + 0.5)).toBeGreaterThan(saturationPressureKpa(celsius))
    }
  })

  test('dewPointC undoes saturationPressureKpa', () => {
    fc.assert(
      fc.property(fc.double({ min: -99, max: 199, noNaN: true }), (celsius) => {
        // The two equations leave a step of 0.02 % at the triple point, where no exact inverse exists.
        expect(Math.abs(dewPointC(saturationPressureKpa(celsius)) - celsius)).toBeLessThan(0.01)
      }),
    )
  })

  test('throws with the value outside −100 to 200 °C and passes NaN on', () => {
    expect(() => saturationPressureKpa(201)).toThrow('201')
    expect(() => saturationPressureKpa(-101)).toThrow('-101')
    expect(saturationPressureKpa(NaN)).toBeNaN()
    expect(dewPointC(NaN)).toBeNaN()
    expect(() => dewPointC(0)).toThrow(RangeError)
  })
})

describe('humid air', () => {
  const warm = { temperatureC: 30, pressureKpa: 100, humidityPct: 60 }

  test('damp air is lighter than dry air and holds less oxygen', () => {
    expect(airDensityKgM3(warm)).toBeLessThan(airDensityKgM3({ ...warm, humidityPct: 0 }))
    expect(oxygenShare(warm)).toBeLessThan(oxygenShare({ ...warm, humidityPct: 0 }))
    expect(dryPressureKpa(warm) + vapourPressureKpa(warm)).toBeCloseTo(100, 12)
  })

  test('humidity left out is dry air', () => {
    const dry = { temperatureC: 10, pressureKpa: 99 }
    expect(airDensityKgM3(dry)).toBe(airDensityKgM3({ ...dry, humidityPct: 0 }))
    expect(airDensityCipm2007KgM3(dry)).toBeCloseTo(airDensityKgM3(dry), 2)
  })

  test('densityAltitudeM of the standard atmosphere is its altitude', () => {
    for (const altitudeM of [-300, 0, 1234, 4000, 12000]) {
      const { temperatureC, pressureKpa } = standardAtmosphere(altitudeM)
      expect(densityAltitudeM({ temperatureC, pressureKpa, humidityPct: 0 })).toBeCloseTo(altitudeM, 5)
    }
  })

  test('throws with the value for impossible air, and explainAirState says the same without throwing', () => {
    const wrong = [
      { ...warm, humidityPct: 101 },
      { ...warm, humidityPct: -1 },
      { ...warm, pressureKpa: 1013 },
      { ...warm, pressureKpa: -5 },
      { ...warm, temperatureC: -300 },
      { temperatureC: 150, pressureKpa: 100, humidityPct: 50 },
    ]
    for (const air of wrong) {
      expect(() => airDensityKgM3(air)).toThrow(RangeError)
      expect(() => densityAltitudeM(air)).toThrow(RangeError)
      expect(() => airDensityCipm2007KgM3(air)).toThrow(RangeError)
      for (const method of methods) expect(() => powerCorrection(method, air)).toThrow(RangeError)
      expect(explainAirState(air)).toMatch(/^invalid /)
    }
    expect(() => airDensityKgM3({ ...warm, humidityPct: 101 })).toThrow(
      'invalid humidityPct: 101 (expected 0 to 100)',
    )
    expect(explainAirState(warm)).toBeUndefined()
  })

  test('passes NaN on', () => {
    for (const key of ['temperatureC', 'pressureKpa', 'humidityPct'] as const) {
      const air = { ...warm, [key]: NaN }
      expect(airDensityKgM3(air)).toBeNaN()
      expect(densityAltitudeM(air)).toBeNaN()
      expect(explainAirState(air)).toBeUndefined()
    }
  })
})

describe('powerCorrection', () => {
  test('rises as the air gets hotter and thinner, by every method', () => {
    for (const method of methods) {
      const at = (temperatureC: number, pressureKpa: number) =>
        powerCorrection(method, { temperatureC, pressureKpa, humidityPct: 40 })
      expect(at(30, 100)).toBeGreaterThan(at(20, 100))
      expect(at(20, 95)).toBeGreaterThan(at(20, 100))
    }
  })

  test('humidity matters to all but DIN 70020', () => {
    const dry = { temperatureC: 25, pressureKpa: 99, humidityPct: 0 }
    for (const method of methods) {
      const ratio = powerCorrection(method, { ...dry, humidityPct: 90 }) / powerCorrection(method, dry)
      if (method === 'din_70020') expect(ratio).toBe(1)
      else expect(ratio).toBeGreaterThan(1.02)
    }
  })

  test('throws for an unknown method and passes NaN on, never valid', () => {
    const unknown = 'toString' as PowerCorrectionMethod
    expect(() => powerCorrection(unknown, { temperatureC: 20, pressureKpa: 100 })).toThrow('toString')
    const nowhere = { temperatureC: NaN, pressureKpa: 100 }
    expect(powerCorrection('iso_1585', nowhere)).toBeNaN()
    expect(powerCorrectionLimits('iso_1585', nowhere).isValid).toBe(false)
  })
})

describe('stationPressureKpa', () => {
  test('undoes seaLevelPressureKpa', () => {
    const pressureKpa = seaLevelPressureKpa(92, 800, 12)
    const reported = { kind: 'sea_level', pressureKpa, altitudeM: 800, temperatureC: 12 } as const
    expect(stationPressureKpa(reported)).toBeCloseTo(92, 9)
  })

  test('reads an altimeter setting by the standard atmosphere, and a barometer as it is', () => {
    const standard = { kind: 'altimeter_setting', pressureKpa: 101.325, altitudeM: 1000 } as const
    expect(stationPressureKpa(standard)).toBeCloseTo(89.8746, 3)
    expect(stationPressureKpa({ kind: 'station', pressureKpa: 95, altitudeM: 1000 })).toBe(95)
  })

  test('without a temperature takes the standard one, within 0.6 kPa of what 0 °C to 20 °C give at 1000 m', () => {
    const report = { kind: 'sea_level', pressureKpa: 101.5, altitudeM: 1000 } as const
    for (const temperatureC of [0, 20]) {
      expect(
        Math.abs(stationPressureKpa(report) - stationPressureKpa({ ...report, temperatureC })),
      ).toBeLessThan(0.6)
    }
  })

  test('throws with the value for a wrong unit, altitude or kind', () => {
    expect(() => stationPressureKpa({ kind: 'station', pressureKpa: 1013, altitudeM: 0 })).toThrow('1013')
    expect(() => stationPressureKpa({ kind: 'sea_level', pressureKpa: 101, altitudeM: 9000 })).toThrow('9000')
    expect(() => stationPressureKpa({ kind: 'x' as 'station', pressureKpa: 101, altitudeM: 0 })).toThrow('x')
  })

  test('guessPressureKind tells the two apart on a hill only', () => {
    expect(guessPressureKind(101.2, 1200)).toBe('sea_level')
    expect(guessPressureKind(87.5, 1200)).toBe('station')
    expect(guessPressureKind(101.2, 100)).toBe('unclear')
  })
})
