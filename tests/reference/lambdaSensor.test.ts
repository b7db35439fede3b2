import { describe, expect, test } from 'vitest'
import { cellTemperatureC } from '../../core/sensing/cellTemperature.ts'
import { diffusionCurrentMa, nominalAirCurrentMa } from '../../core/sensing/freeAir.ts'
import { lambdaUncertainty } from '../../core/sensing/lambdaUncertainty.ts'
import { planar42, planar49 } from '../../core/sensing/planarSensors.ts'
import { lambdaFromPumpCurrent, pumpCurrentFromLambda } from '../../core/sensing/pumpCurrent.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('wideband sensor')

interface CurvePoint {
  ip_mA: number
  lambda: number | null
  status?: string
}

describe('pump current', () => {
  const generation49 = referenceSet<CurvePoint>('lambda-sensor', 'pump-current-4.9')
  for (const { ip_mA, lambda, status } of generation49.rows) {
    test(`planar49 meets its table at ${ip_mA} mA, row ${status === 'seen' ? 'seen' : 'from memory'}`, () => {
      deviations.near(
        '4.9 λ at table rows',
        lambdaFromPumpCurrent(ip_mA, planar49),
        lambda!,
        1e-12,
        `${ip_mA} mA`,
      )
      deviations.near('4.9 current at table rows, mA', pumpCurrentFromLambda(lambda!, planar49), ip_mA, 1e-12)
    })
  }

  const generation42 = referenceSet<CurvePoint>('lambda-sensor', 'pump-current-4.2')
  for (const { ip_mA, lambda } of generation42.rows.filter((row) => row.lambda !== null)) {
    test(`planar42 meets its table, from memory, at ${ip_mA} mA`, () => {
      deviations.near(
        '4.2 λ at table rows',
        lambdaFromPumpCurrent(ip_mA, planar42),
        lambda!,
        1e-12,
        `${ip_mA} mA`,
      )
      deviations.near('4.2 current at table rows, mA', pumpCurrentFromLambda(lambda!, planar42), ip_mA, 1e-12)
    })
  }

  const lean = referenceSet<{ lambda: number; ip_law_mA: number }>('lambda-sensor', 'lean-diffusion-law')
  test(`planar49 keeps to the law between its rows: ${labelOf(lean)}`, () => {
    for (const { lambda, ip_law_mA } of lean.rows) {
      deviations.near('4.9 lean law, mA', pumpCurrentFromLambda(lambda), ip_law_mA, 0.006, `λ ${lambda}`)
    }
  })

  test('planar49 interpolates the lean law to 0.004 mA everywhere between its rows', () => {
    // Oxygen in the wet gas of fully burnt lean CH1.85: dry air 0.20946 O₂, (λ − 1) of the stoichiometric oxygen left.
    const stoichiometricOxygen = 1 + 1.85 / 4
    for (let lambda = 1.2; lambda <= 10.1; lambda += 0.01) {
      const gas = (lambda * stoichiometricOxygen) / 0.20946 + 1.85 / 4
      const law = 10.83 * Math.log(1 / (1 - ((lambda - 1) * stoichiometricOxygen) / gas))
      deviations.near(
        '4.9 against the lean law, mA',
        pumpCurrentFromLambda(lambda),
        law,
        0.004,
        `λ ${lambda}`,
      )
    }
  })

  const rich = referenceSet<{ lambda: number; ip_law_mA: number }>('lambda-sensor', 'rich-diffusion-law')
  test(`planar49 keeps to the law: ${labelOf(rich)}`, () => {
    for (const { lambda, ip_law_mA } of rich.rows) {
      deviations.near('4.9 rich law, mA', pumpCurrentFromLambda(lambda), ip_law_mA, 0.01, `λ ${lambda}`)
    }
  })

  test('lambdaFromPumpCurrent refuses to extrapolate beyond either end of the table', () => {
    expect(lambdaFromPumpCurrent(-2.001)).toBeNaN()
    expect(lambdaFromPumpCurrent(2.251)).toBeNaN()
    expect(lambdaFromPumpCurrent(2.54)).toBeNaN()
    expect(lambdaFromPumpCurrent(1.41, planar42)).toBeNaN()
    expect(pumpCurrentFromLambda(0.649)).toBeNaN()
    expect(pumpCurrentFromLambda(10.12)).toBeNaN()
  })
})

describe('ambient air', () => {
  const air = referenceSet<{ generation: string; ip_air_mA: number }>('lambda-sensor', 'ambient-air')
  test(`nominalAirCurrentMa is within 0.03 mA: ${labelOf(air)}`, () => {
    for (const { generation, ip_air_mA } of air.rows) {
      const sensor = generation === '4.9' ? planar49 : planar42
      deviations.near('current in air, mA', nominalAirCurrentMa(sensor), ip_air_mA, 0.03, generation)
    }
  })

  interface Humid {
    t_C: number
    rh: number
    p_Pa: number
    x_O2: number
    ip_law_mA: number
  }
  const humid = referenceSet<Humid>('lambda-sensor', 'ambient-air-humidity')
  test(`nominalAirCurrentMa falls with humidity by the law: ${labelOf(humid)}`, () => {
    const dryLaw = humid.rows[0].ip_law_mA
    for (const { t_C, rh, p_Pa, x_O2, ip_law_mA } of humid.rows) {
      const at = `${t_C} °C, ${rh * 100} %`
      const state = { temperatureC: t_C, pressureKpa: p_Pa / 1000, humidityPct: rh * 100 }
      deviations.near('law at the share, mA', diffusionCurrentMa(x_O2, 10.83), ip_law_mA, 0.002, at)
      const ratio = nominalAirCurrentMa(planar49, state) / nominalAirCurrentMa(planar49)
      deviations.near('humid current as share of dry', ratio, ip_law_mA / dryLaw, 0.0008, at)
    }
  })

  const gases = referenceSet<{ x_O2_percent: number; ip_mA: number }>('lambda-sensor', 'oxygen-gas-points')
  test(`diffusionCurrentMa gives the current in test gas: ${labelOf(gases)}`, () => {
    for (const { x_O2_percent, ip_mA } of gases.rows) {
      const law = diffusionCurrentMa(x_O2_percent / 100, planar49.diffusionConstantMa)
      deviations.near('current in test gas, mA', law, ip_mA, 0.02, `${x_O2_percent} %`)
    }
  })
})

test('lambdaUncertainty gives the data sheet accuracy ÷ √3 at its three points [seen: Bosch data sheet LSU 4.9]', () => {
  for (const [lambda, halfWidth] of [
    [0.8, 0.01],
    [1.016, 0.007],
    [1.7, 0.05],
  ]) {
    for (const sensor of [planar49, planar42]) {
      const { standard, curve } = lambdaUncertainty({ lambda }, sensor)
      deviations.near('uncertainty at accuracy points', curve, halfWidth / Math.sqrt(3), 1e-9, `λ ${lambda}`)
      expect(standard).toBe(curve)
    }
  }
})

test('cellTemperatureC meets the nominal points [300 Ω and 80 Ω seen; 780 °C and 750 °C from memory]', () => {
  deviations.near('ceramic temperature, K', cellTemperatureC(300), 780, 1e-9)
  deviations.near('ceramic temperature, K', cellTemperatureC(80, planar42), 750, 1e-9)
})
