import { test } from 'vitest'
import { lambdaFromExhaustGas } from '../../core/fuel/exhaustGas.ts'
import { createDeviations } from './deviations.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

const deviations = createDeviations('exhaust-gas balance')

interface Synthetic {
  lambda_true: number
  Hcv: number
  Ocv: number
  CO2_pct: number
  CO_pct: number
  O2_pct: number
}
const synthetic = referenceSet<Synthetic>('exhaust-gas-lambda', 'closed-loop-proof')
test(`lambdaFromExhaustGas returns the true λ of ${labelOf(synthetic)}`, () => {
  for (const { lambda_true, Hcv, Ocv, CO2_pct, CO_pct, O2_pct } of synthetic.rows) {
    const lambda = lambdaFromExhaustGas(
      { coPct: CO_pct, co2Pct: CO2_pct, hcPpm: 0, o2Pct: O2_pct, noxPpm: 0 },
      { carbon: 1, hydrogen: Hcv, oxygen: Ocv },
    )
    deviations.near('λ of synthetic exhaust', lambda, lambda_true, 0.0001, `λ ${lambda_true}, H/C ${Hcv}`)
  }
})

interface Worked {
  CO2_pct: number
  CO_pct: number
  O2_pct: number
  HC_ppm_hexane: number
  NO_ppm: number
  lambda: number
}
const worked = referenceSet<Worked>('exhaust-gas-lambda', 'worked-examples')
test(`lambdaFromExhaustGas with the default fuel: ${labelOf(worked)}`, () => {
  for (const { CO2_pct, CO_pct, O2_pct, HC_ppm_hexane, NO_ppm, lambda } of worked.rows) {
    const gas = { coPct: CO_pct, co2Pct: CO2_pct, hcPpm: HC_ppm_hexane, o2Pct: O2_pct, noxPpm: NO_ppm }
    deviations.near('λ of worked examples', lambdaFromExhaustGas(gas), lambda, 0.00001)
  }
})
