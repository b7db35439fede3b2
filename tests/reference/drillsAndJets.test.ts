import { describe, expect, test } from 'vitest'
import { drillDiameterMm, drills } from '../../core/tuning/drills.ts'
import { boreForAreaFactorMm, jetAreaMm2, jetFlowGS } from '../../core/tuning/jetArea.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('drills and jets')

describe('drillDiameterMm', () => {
  const numbers = referenceSet<{ no: number; mm: number; inch: number }>('drills-and-flow', 'number-drills')
  const letters = referenceSet<{ letter: string; mm: number; inch: number }>(
    'drills-and-flow',
    'letter-drills',
  )

  test(`meets ${labelOf(numbers)}`, () => {
    for (const { no, mm } of numbers.rows) {
      deviations.near('number drills, mm', drillDiameterMm(String(no)), mm, 1e-9, `no. ${no}`)
    }
  })

  test(`meets ${labelOf(letters)}`, () => {
    for (const { letter, mm } of letters.rows) {
      deviations.near('letter drills, mm', drillDiameterMm(letter), mm, 1e-9, letter)
    }
  })

  test('drills holds every drill of both tables and no other', () => {
    const wanted = [...numbers.rows.map(({ no }) => String(no)), ...letters.rows.map(({ letter }) => letter)]
    expect(drills.map(({ name }) => name).sort()).toEqual(wanted.sort())
  })
})

describe('jets', () => {
  interface Orifice {
    d_mm: number
    Cd: number
    dp_Pa: number
    rho_kg_m3: number
    area_mm2: number
    flow_g_per_s: number
  }
  const orifices = referenceSet<Orifice>('drills-and-flow', 'orifice-examples')
  test(`jetAreaMm2 and jetFlowGS: ${labelOf(orifices)}`, () => {
    for (const { d_mm, Cd, dp_Pa, rho_kg_m3, area_mm2, flow_g_per_s } of orifices.rows) {
      deviations.nearShare('area, mm²', jetAreaMm2(d_mm), area_mm2, 1e-5, `${d_mm} mm`)
      deviations.nearShare('flow, g/s', jetFlowGS(jetAreaMm2(d_mm), Cd, rho_kg_m3, dp_Pa), flow_g_per_s, 1e-5)
    }
  })

  const changes = referenceSet<{ jet_mm: number; area_ratio: number; new_jet_mm: number }>(
    'drills-and-flow',
    'jet-change',
  )
  test(`boreForAreaFactorMm: ${labelOf(changes)}`, () => {
    for (const { jet_mm, area_ratio, new_jet_mm } of changes.rows) {
      deviations.near(
        'new bore, mm',
        boreForAreaFactorMm({ boreMm: jet_mm }, area_ratio),
        new_jet_mm,
        0.00002,
      )
    }
  })
})
