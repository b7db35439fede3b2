import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import { circuitVerdicts } from './circuitVerdicts.ts'

/**
 * That the transfer is off in the newest run, in a sentence; undefined when it is not. No size answers for it alone: where the idle stop holds the
 * throttle decides how much of its slots is open, and that comes before any drilling.
 */
export function transferSentence(
  run: RunAnalysis,
  car: CarProfile | undefined,
  unit: MixtureUnit,
): string | undefined {
  const row = circuitVerdicts(run, car ? { car } : {}).find(({ circuit }) => circuit === 'transfer')
  if (row?.verdict !== 'rich' && row?.verdict !== 'lean') return undefined
  const distance = distanceWords(Math.abs(row.error), unit, row.target)
  return `The transfer, with the throttle just open, is ${row.verdict} by ${distance}: no size in the box answers for it alone. Look at the idle position of the throttle first, then at the idle feed.`
}
