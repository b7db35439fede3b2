import { Option } from 'commander'
import type { CarProfile } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type MixtureUnit, mixtureUnitOf } from '../../core/units/mixtureUnit.ts'
import { parseUnitChoice } from '../../core/units/unitChoice.ts'
import { CommandFailure } from './commandVoice.ts'

/** `--bore <unit>`: how the sentences of a command give bores. */
export function boreOption(): Option {
  return new Option(
    '--bore <unit>',
    'how text gives bores; figures of --json stay mm (default: as the car profile says, else as each was noted)',
  ).choices(['mm', 'in', 'thou'])
}

/** `--unit <quantity=unit>`: how a sheet gives what is neither mixture nor bore. */
export function unitOption(): Option {
  return new Option(
    '--unit <quantity=unit...>',
    'units of the rest, such as temperature=F pressure=inHg distance=mi power=hp economy=mpg_us (default: as the car profile says, else metric)',
  )
}

/** What `--unit` chose. Throws `CommandFailure` for a quantity or unit that is none. */
export function chosenUnits(words: readonly string[] = []): Record<string, string> {
  const asked = Object.fromEntries(words.map((word) => word.split('=', 2) as [string, string]))
  const [wrong] = parseUnitChoice(asked).ignored
  if (wrong !== undefined)
    throw new CommandFailure(
      `invalid --unit: ${wrong}=${asked[wrong] ?? ''} (expected such as temperature=F)`,
      2,
    )
  return asked
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
