import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { declaredUnits } from '../../core/line/channels.ts'
import { channelNames, unitTransform } from '../../core/pipeline/channels.ts'
import { channelQuantity, insideUnit } from '../../core/units/channelUnits.ts'
import {
  convertUnit,
  fromCanonical,
  missingContext,
  toAbsoluteInto,
  toCanonical,
  toCanonicalInto,
} from '../../core/units/convert.ts'
import { decimalMarkOf, formatForFile, formatNumber, formatQuantity } from '../../core/units/format.ts'
import { chosenUnit, parseUnitChoice, unitSystems, unitsOf } from '../../core/units/unitChoice.ts'
import { canonicalUnit, isUnitId, type Quantity, type UnitId, units } from '../../core/units/unitTable.ts'

const context = { stoichiometricRatio: 14.6, barometerKpa: 98 }
const unitIds = Object.keys(units) as UnitId[]

describe('toCanonical', () => {
  test('is undone by fromCanonical in every unit', () => {
    fc.assert(
      fc.property(
        fc.constantFrom(...unitIds),
        fc.double({ min: 0.01, max: 1000, noNaN: true }),
        (id, value) => {
          const back = fromCanonical(toCanonical(value, id, context), id, context)
          expect(Math.abs(back - value)).toBeLessThan(1e-9 * (value + 1))
        },
      ),
    )
  })

  test('gives NaN for NaN in every unit', () => {
    for (const id of unitIds) {
      expect(toCanonical(NaN, id, context)).toBeNaN()
      expect(fromCanonical(NaN, id, context)).toBeNaN()
    }
  })

  test('leaves the inside unit of every quantity as it is', () => {
    for (const { quantity } of Object.values(units))
      expect(toCanonical(12.5, canonicalUnit(quantity))).toBe(12.5)
  })

  test('converts what boards declare', () => {
    expect(toCanonical(90, 'km/h')).toBeCloseTo(25, 12)
    expect(toCanonical(60, 'mph')).toBeCloseTo(26.8224, 12)
    expect(toCanonical(0.5, 'A')).toBe(500)
    expect(toCanonical(0.3, 'kohm')).toBeCloseTo(300, 12)
    expect(toCanonical(500, 'mV')).toBeCloseTo(0.5, 12)
    expect(toCanonical(1013, 'mbar')).toBeCloseTo(101.3, 12)
    expect(toCanonical(300, 'K')).toBeCloseTo(26.85, 12)
    expect(toCanonical(20, 'inHg_vacuum', { barometerKpa: 101.325 })).toBeCloseTo(33.5972, 3)
    expect(toCanonical(13.14, 'afr', context)).toBeCloseTo(0.9, 12)
    expect(toCanonical(1.25, 'phi')).toBeCloseTo(0.8, 12)
  })

  test('gives NaN without the figure that a unit needs, and missingContext names it', () => {
    expect(toCanonical(10, 'inHg_vacuum')).toBeNaN()
    expect(toCanonical(10, 'inHg_vacuum', { barometerKpa: NaN })).toBeNaN()
    expect(toCanonical(14, 'afr')).toBeNaN()
    expect(missingContext('inHg_vacuum')).toBe('barometerKpa')
    expect(missingContext('afr', context)).toBeUndefined()
    expect(missingContext('kPa')).toBeUndefined()
  })

  test('gives NaN where a reciprocal unit has no answer', () => {
    expect(toCanonical(0, 'mpg_us')).toBeNaN()
    expect(fromCanonical(0, 'phi')).toBeNaN()
  })

  test('throws for an unknown unit with its name', () => {
    expect(() => toCanonical(1, 'furlong')).toThrow('unknown unit: furlong')
    expect(() => toCanonical(1, 'toString')).toThrow(RangeError)
  })

  test('convertUnit refuses two quantities', () => {
    expect(() => convertUnit(1, 'kPa', 'C')).toThrow('kPa is pressure, C is temperature')
    expect(convertUnit(14.7, 'psi', 'kPa')).toBeCloseTo(101.3529, 4)
    expect(convertUnit(7, 'mph', 'mph')).toBe(7)
  })
})

describe('columns', () => {
  test('toCanonicalInto equals toCanonical in every unit, in place too', () => {
    const values = Float64Array.of(0.5, 12, NaN, 3)
    for (const id of unitIds) {
      const column = toCanonicalInto(Float64Array.from(values), values, id, context)
      for (let i = 0; i < values.length; i++) expect(column[i]).toBe(toCanonical(values[i], id, context))
      const own = Float64Array.from(values)
      expect(toCanonicalInto(own, own, id, context)).toEqual(column)
    }
  })

  test('toCanonicalInto converts the first count values only', () => {
    const column = Float64Array.of(32, 212, 212)
    expect([...toCanonicalInto(column, column, 'F', undefined, 2)].map(Math.round)).toEqual([0, 100, 212])
  })

  test('toAbsoluteInto takes the barometer of each sample', () => {
    const column = toAbsoluteInto(
      new Float64Array(2),
      Float64Array.of(10, 10),
      'inHg_vacuum',
      Float64Array.of(100, 95),
    )
    expect(column[0] - column[1]).toBeCloseTo(5, 12)
    expect(() => toAbsoluteInto(column, column, 'kPa', column)).toThrow('kPa')
  })
})

describe('formatting', () => {
  test('formatQuantity uses the typographic minus, fixed decimals and a narrow no-break space', () => {
    expect(formatQuantity(-7.4, 'C')).toBe('\u22127\u202f°C')
    expect(formatQuantity(0.9, 'lambda')).toBe('0.90')
    expect(formatQuantity(0.9, 'afr', context)).toBe('13.1\u202fAFR')
    expect(formatQuantity(874, 'rpm')).toBe('870\u202frpm')
    expect(formatQuantity(874, 'rpm', undefined, { decimals: 0 })).toBe('874\u202frpm')
    expect(formatQuantity(25, 'km/h')).toBe('90\u202fkm/h')
    expect(formatQuantity(58.3, 'kPa', undefined, { decimalMark: ',', decimals: 1 })).toBe('58,3\u202fkPa')
  })

  test('formatNumber never shows a negative zero and shows a dash for no value', () => {
    expect(formatNumber(-0.004, { decimals: 2 })).toBe('0.00')
    expect(formatNumber(-0, {})).toBe('0')
    expect(formatNumber(-3, { step: 10 })).toBe('0')
    for (const none of [NaN, Infinity, -Infinity]) expect(formatNumber(none)).toBe('\u2013')
  })

  test('formatNumber signs differences on demand, zero never', () => {
    expect(formatNumber(0.06, { decimals: 2, isSigned: true })).toBe('+0.06')
    expect(formatNumber(-0.04, { decimals: 2, isSigned: true })).toBe('\u22120.04')
    expect(formatNumber(0.001, { decimals: 2, isSigned: true })).toBe('0.00')
    expect(() => formatNumber(1, { decimals: -1 })).toThrow('invalid decimals: -1')
  })

  test('formatForFile reads back equal, with a point and a hyphen', () => {
    fc.assert(
      fc.property(fc.double({ noNaN: true, noDefaultInfinity: true }), (value) => {
        expect(Number(formatForFile(value)) === value).toBe(true)
      }),
    )
    expect(formatForFile(-1.5)).toBe('-1.5')
    expect(formatForFile(NaN)).toBe('')
  })

  test('decimalMarkOf follows the locale', () => {
    expect(decimalMarkOf('en-GB')).toBe('.')
    expect(decimalMarkOf('de-DE')).toBe(',')
  })
})

describe('choice of units', () => {
  test('every quantity has its inside unit first and all units belong to it', () => {
    const quantities = new Set<Quantity>(unitIds.map((id) => units[id].quantity))
    for (const quantity of quantities) {
      expect(unitsOf(quantity)[0]).toBe(canonicalUnit(quantity))
      for (const id of unitsOf(quantity)) expect(units[id].quantity).toBe(quantity)
      for (const system of ['metric', 'us', 'imperial'] as const) {
        expect(units[chosenUnit(quantity, {}, system)].quantity).toBe(quantity)
      }
    }
    expect(unitsOf('mixture')).toEqual(['lambda', 'afr', 'phi'])
  })

  test('chosenUnit takes the user, then the system, then the inside unit', () => {
    expect(chosenUnit('pressure', { pressure: 'inHg_vacuum' }, 'metric')).toBe('inHg_vacuum')
    expect(chosenUnit('pressure', {}, 'us')).toBe('inHg')
    expect(chosenUnit('mixture')).toBe('lambda')
    expect(unitSystems.us.economy).toBe('mpg_us')
  })

  test('parseUnitChoice keeps what fits and names what does not', () => {
    const stored = { mixture: 'afr', pressure: 'F', speed: 'furlong', colour: 'mph' }
    expect(parseUnitChoice(stored)).toEqual({
      choice: { mixture: 'afr' },
      ignored: ['pressure', 'speed', 'colour'],
    })
  })

  test('channelQuantity knows the board channels, both banks and inputs', () => {
    expect(channelQuantity('pump_current_2')).toBe('current')
    expect(channelQuantity('road_speed')).toBe('speed')
    expect(channelQuantity('input_3')).toBe('voltage')
    expect(channelQuantity('turbine')).toBeUndefined()
    expect(channelQuantity('constructor')).toBeUndefined()
    for (const id of declaredUnits) expect(isUnitId(id)).toBe(true)
  })

  test('every known channel has an inside unit, and its usual declaration becomes that', () => {
    expect(insideUnit('road_speed')).toBe('m/s')
    expect(insideUnit('lambda_2')).toBe('1')
    expect(insideUnit('input_7')).toBe('V')
    for (const name of channelNames) {
      const unit = insideUnit(name)
      expect(unitTransform(name, unit), name).toEqual({ scale: 1, offset: 0 })
    }
    expect(unitTransform('road_speed', 'km/h').scale * 90).toBeCloseTo(25, 12)
    expect(unitTransform('coolant', 'F')).toEqual({ scale: 5 / 9, offset: -160 / 9 })
    const vacuum = unitTransform('manifold_pressure', 'inHg_vacuum')
    expect(vacuum.scale * 20 + vacuum.offset).toBeCloseTo(101.325 - 67.73, 2)
    expect(unitTransform('throttle', '1').scale).toBe(100)
    expect(unitTransform('oil_pressure', 'furlong')).toEqual({ scale: 1, offset: 0 })
  })
})
