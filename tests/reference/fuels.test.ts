import { expect, test } from 'vitest'
import { stoichiometricRatio } from '../../core/fuel/composition.ts'
import { blendFuels, compositionFromMassPct, ethanolBlend, fuels } from '../../core/fuel/fuels.ts'
import { energyMjPerLitre } from '../../core/fuel/mixtureRatio.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('fuels')

interface Substance {
  fuel: string
  C: number
  H: number
  O: number
  afr_table: number
  afr_formula: number
  lhv_MJ_per_kg: number
}
const table = referenceSet<Substance>('stoichiometry-fuels', 'afr-table')
test(`stoichiometricRatio: ${labelOf(table)}; table values from memory`, () => {
  for (const { fuel, C, H, O, afr_table, afr_formula } of table.rows) {
    const ratio = stoichiometricRatio({ carbon: C, hydrogen: H, oxygen: O })
    deviations.near('ratio by formula', ratio, afr_formula, 0.00006, fuel)
    // Two decimals were printed, of some one; one unit of the last place.
    deviations.near('ratio as printed, from memory', ratio, afr_table, afr_table > 30 ? 0.05 : 0.01, fuel)
  }
})

const seen = referenceSet<{ fuel: string; afr: number; formula: number; unreliable?: boolean }>(
  'stoichiometry-fuels',
  'afr-seen',
)
test(`stoichiometricRatio is within the rounding and the spread of ${labelOf(seen)}`, () => {
  const compositions: Record<string, [number, number, number]> = {
    gasoline: [1, 1.87, 0],
    'natural gas as methane': [1, 4, 0],
    ethanol: [2, 6, 1],
    methanol: [1, 4, 1],
    hydrogen: [0, 2, 0],
  }
  for (const { fuel, afr, formula } of seen.rows.filter((row) => !row.unreliable)) {
    const [carbon, hydrogen, oxygen] = compositions[fuel]
    const ratio = stoichiometricRatio({ carbon, hydrogen, oxygen })
    deviations.nearShare('ratio as seen in public tables', ratio, afr, 0.012, fuel)
    deviations.near('ratio by formula, rounded', ratio, formula, 0.0005, fuel)
  }
})

interface Blend {
  ethanol_vol_fraction: number
  density_kg_per_L: number
  H_per_C: number
  O_per_C: number
  afr: number
  lhv_MJ_per_kg: number
  lhv_MJ_per_L: number
}
const blends = referenceSet<Blend>('stoichiometry-fuels', 'ethanol-blends')
test(`ethanolBlend: ${labelOf(blends)}`, () => {
  for (const row of blends.rows) {
    const fuel = ethanolBlend(row.ethanol_vol_fraction * 100)
    const at = `${row.ethanol_vol_fraction * 100} % ethanol`
    const { carbon, hydrogen, oxygen } = fuel.composition
    deviations.near('blend ratio', fuel.stoichiometricRatio, row.afr, 0.005, at)
    deviations.near('blend density, kg/m³', fuel.densityKgM3, row.density_kg_per_L * 1000, 0.006, at)
    deviations.near('blend H/C', hydrogen / carbon, row.H_per_C, 0.00006, at)
    deviations.near('blend O/C', oxygen / carbon, row.O_per_C, 0.00001, at)
    deviations.near('blend MJ/kg', fuel.heatingValueMjKg, row.lhv_MJ_per_kg, 0.0006, at)
    deviations.near('blend MJ/L', energyMjPerLitre(fuel), row.lhv_MJ_per_L, 0.0006, at)
  }
})

test('blendFuels: the ratio of a blend is the sum of mass share times ratio, exactly', () => {
  const blend = blendFuels([
    { fuel: 'methanol', volumeShare: 0.3 },
    { fuel: 'isooctane', volumeShare: 0.7 },
  ])
  const methanolKg = 0.3 * fuels.methanol.densityKgM3
  const isooctaneKg = 0.7 * fuels.isooctane.densityKgM3
  const wanted =
    (methanolKg * fuels.methanol.stoichiometricRatio + isooctaneKg * fuels.isooctane.stoichiometricRatio) /
    (methanolKg + isooctaneKg)
  deviations.near('mass-weighted ratio', blend.stoichiometricRatio, wanted, 1e-9)
})

const regulation = referenceSet<{ fuel: string; Hcv: number; Ocv: number }>(
  'stoichiometry-fuels',
  'reference-fuel-ratios',
)
test(`fuels have about the atomic ratios of ${labelOf(regulation)}`, () => {
  const named: Record<string, (typeof fuels)[keyof typeof fuels]> = {
    'petrol E5': ethanolBlend(5),
    'petrol E10': fuels.gasoline_e10,
    E85: fuels.e85,
  }
  for (const [fuel, { composition }] of Object.entries(named)) {
    const row = regulation.rows.find((candidate) => candidate.fuel === fuel)!
    deviations.near(
      'H/C of the regulation, from memory',
      composition.hydrogen / composition.carbon,
      row.Hcv,
      0.02,
      fuel,
    )
    deviations.near(
      'O/C of the regulation, from memory',
      composition.oxygen / composition.carbon,
      row.Ocv,
      0.008,
      fuel,
    )
  }
})

interface Properties {
  fuel: string
  C_mass_percent: number
  H_mass_percent: number
  O_mass_percent: number
  lhv_Btu_per_lb: number
}
const properties = referenceSet<Properties>('stoichiometry-fuels', 'fuel-properties-seen')
test(`methanol, ethanol and propane: ${labelOf(properties)}`, () => {
  for (const id of ['methanol', 'ethanol', 'propane'] as const) {
    const row = properties.rows.find((candidate) => candidate.fuel === id)!
    const fuel = fuels[id]
    const composition = compositionFromMassPct(row.C_mass_percent, row.H_mass_percent, row.O_mass_percent)
    const ratio = stoichiometricRatio(composition)
    // Mass shares are printed to 0.1 %; propane's to 1 %.
    deviations.nearShare('ratio from printed mass shares', ratio, fuel.stoichiometricRatio, 0.005, id)
    // 1 Btu/lb = 2.326 kJ/kg exactly.
    deviations.nearShare('heating value', fuel.heatingValueMjKg, row.lhv_Btu_per_lb * 2.326e-3, 0.005, id)
  }
  expect(Object.keys(fuels)).toEqual([
    'gasoline_e0',
    'gasoline_e10',
    'e85',
    'ethanol',
    'methanol',
    'propane',
    'isooctane',
  ])
})
