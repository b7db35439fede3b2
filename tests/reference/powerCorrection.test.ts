import { describe, expect, test } from 'vitest'
import {
  type PowerCorrectionMethod,
  powerCorrection,
  powerCorrectionLimits,
} from '../../core/air/powerCorrection.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('power correction')

describe('powerCorrection', () => {
  test('is 1 at each reference state', () => {
    const references: [PowerCorrectionMethod, number, number][] = [
      ['sae_j1349', 99, 25],
      ['iso_1585', 99, 25],
      ['din_70020', 101.3, 20],
      ['std', 29.92 * 3.386389, (60 - 32) / 1.8],
    ]
    for (const [method, pressureKpa, temperatureC] of references) {
      const factor = powerCorrection(method, { temperatureC, pressureKpa, humidityPct: 0 })
      deviations.near('factor at the reference state', factor, 1, 1e-9, method)
    }
  })

  interface Example {
    p_baro_kPa: number
    t_C: number
    rh: number
    cf_SAE_J1349: number
    cf_ISO_1585: number
    cf_DIN_70020: number
    cf_J607: number
  }
  const examples = referenceSet<Example>('power-correction', 'examples')
  test(`meets ${labelOf(examples)}; ISO 1585 formula from memory`, () => {
    for (const row of examples.rows) {
      const air = { temperatureC: row.t_C, pressureKpa: row.p_baro_kPa, humidityPct: row.rh * 100 }
      const at = `${row.p_baro_kPa} kPa, ${row.t_C} °C`
      deviations.near('SAE J1349', powerCorrection('sae_j1349', air), row.cf_SAE_J1349, 0.00001, at)
      deviations.near('ISO 1585', powerCorrection('iso_1585', air), row.cf_ISO_1585, 0.00001, at)
      deviations.near('DIN 70020', powerCorrection('din_70020', air), row.cf_DIN_70020, 0.00001, at)
      deviations.near('J607', powerCorrection('std', air), row.cf_J607, 0.0001, at)
    }
  })

  test('powerCorrectionLimits flags thin air for ISO 1585 and passes the reference state [limits from memory]', () => {
    const thin = powerCorrectionLimits('iso_1585', { temperatureC: 30, pressureKpa: 84, humidityPct: 40 })
    expect(thin.isValid).toBe(false)
    expect(thin.reasons).toEqual(['factor 1.261 is outside 0.93 to 1.07'])
    const cold = powerCorrectionLimits('sae_j1349', { temperatureC: 5, pressureKpa: 99, humidityPct: 0 })
    expect(cold.reasons).toEqual(['air temperature 5 degC is outside 15 to 35 degC'])
    expect(powerCorrectionLimits('iso_1585', { temperatureC: 25, pressureKpa: 99 }).isValid).toBe(true)
    expect(powerCorrectionLimits('std', { temperatureC: 5, pressureKpa: 84 }).isValid).toBe(true)
  })
})
