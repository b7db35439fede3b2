import { Option } from 'commander'

/** `--mixture <unit>`: how the sentences of a command give the mixture. */
export function mixtureOption(): Option {
  return new Option(
    '--mixture <unit>',
    'how sentences give the mixture; figures of --json stay λ (default: as the car profile says, else lambda)',
  ).choices(['lambda', 'afr', 'phi'])
}
