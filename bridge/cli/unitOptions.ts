import { Option } from 'commander'
import type { CarProfile } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type MixtureUnit, mixtureUnitOf } from '../../core/units/mixtureUnit.ts'

/** `--bore <unit>`: how the sentences of a command give bores. */
export function boreOption(): Option {
  return new Option(
    '--bore <unit>',
    'how text gives bores; figures of --json stay mm (default: as the car profile says, else as each was noted)',
  ).choices(['mm', 'in', 'thou'])
}

/** `--checked <hint>`: what the owner looked for and did not find. */
export function checkedOption(): Option {
  return new Option(
    '--checked <hint...>',
    'a hint of the runs whose test was done and found nothing: it is not asked for again',
  ).choices(['exhaust_leak'])
}

/** `--mixture <unit>`: how the sentences of a command give the mixture. */
export function mixtureOption(): Option {
  return new Option(
    '--mixture <unit>',
    'how text gives the mixture; figures of --json stay λ (default: as the car profile says, else lambda)',
  ).choices(['lambda', 'afr', 'phi'])
}

/** The unit of mixture for text: the one asked for, else that of the car, which the newest run names if no profile was given. */
export function shownMixture(
  asked: string | undefined,
  car: CarProfile | undefined,
  runs: readonly RunAnalysis[],
): MixtureUnit {
  const known = car ?? runs.findLast((run) => run.car)?.car
  return mixtureUnitOf(asked ?? known?.units?.mixture, known?.fuel)
}
