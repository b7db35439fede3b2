import { describe, test } from 'vitest'
import { convertUnit, toCanonical } from '../../core/units/convert.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('units')

describe('toCanonical', () => {
  const facts = referenceSet<{ unit: string; value: number; exact: boolean }>(
    'vehicle-and-units',
    'unit-facts',
  )
  // Inside unit and factor to the published one, by the name in the table.
  const ours: Record<string, number> = {
    'US gallon': toCanonical(1, 'gal_us'),
    'imperial gallon': toCanonical(1, 'gal_imp'),
    mile: toCanonical(1, 'mi'),
    knot: toCanonical(1, 'knot'),
    'mile per hour': toCanonical(1, 'mph'),
    pound: toCanonical(1, 'lb'),
    inch: toCanonical(1, 'in') / 1000,
    'mechanical horsepower': toCanonical(1, 'hp') * 1000,
    'inch of mercury (conventional)': toCanonical(1, 'inHg') * 1000,
    psi: toCanonical(1, 'psi') * 1000,
  }
  test(`meets ${labelOf(facts)}`, () => {
    for (const [name, got] of Object.entries(ours)) {
      const { value, exact } = facts.rows.find((row) => row.unit === name)!
      deviations.nearShare(
        exact ? 'exact factors' : 'factors rounded to 7 digits',
        got,
        value,
        exact ? 1e-14 : 2e-7,
        name,
      )
    }
  })

  test('meets the metric horsepower [from memory: 75 kgf m/s]', () => {
    const { rows } = referenceSet<{ value: number }>('vehicle-and-units', 'metric-horsepower')
    deviations.nearShare('metric horsepower', toCanonical(1, 'PS') * 1000, rows[0].value, 1e-14)
  })

  test('meets the fixed points of the temperature scales', () => {
    for (const [value, unit, celsius] of [
      [32, 'F', 0],
      [212, 'F', 100],
      [-40, 'F', -40],
      [273.15, 'K', 0],
      [60, 'F', 15.555555555555555],
    ] as const) {
      deviations.near('temperature scales, K', toCanonical(value, unit), celsius, 1e-12, `${value} ${unit}`)
    }
  })
})

describe('fuel economy', () => {
  interface Economy {
    L_per_100km?: number
    mpg_US: number
    mpg_imp: number
    mpg_US_times_L_per_100km: number
    mpg_imp_times_L_per_100km: number
  }
  const economy = referenceSet<Economy>('vehicle-and-units', 'fuel-economy')
  test(`convertUnit: ${labelOf(economy)}`, () => {
    const [factors, ...rows] = economy.rows
    deviations.nearShare('mpg × L/100 km', toCanonical(1, 'mpg_us'), factors.mpg_US_times_L_per_100km, 1e-8)
    deviations.nearShare('mpg × L/100 km', toCanonical(1, 'mpg_imp'), factors.mpg_imp_times_L_per_100km, 1e-8)
    for (const { L_per_100km, mpg_US, mpg_imp } of rows) {
      deviations.nearShare('economy', convertUnit(L_per_100km!, 'L_100km', 'mpg_us'), mpg_US, 1e-5)
      deviations.nearShare('economy', convertUnit(L_per_100km!, 'L_100km', 'mpg_imp'), mpg_imp, 1e-5)
    }
  })
})
