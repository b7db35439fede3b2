import type { PartSize } from '../contract/advice.ts'
import { partWord } from './adviceText.ts'

/** What is typed into a throttle-body injection in place of a part; noted in `fitted` by these names. */
export const FUEL_TABLE = 'fuel_table'
export const ACCELERATION = 'acceleration_enrichment'
export const COLD = 'cold_enrichment'

/** True of a number that is typed in: nothing is opened for it, and it is told as a factor of what it was. */
export const isTypedIn = (part: string) => part === FUEL_TABLE || part === ACCELERATION || part === COLD

/** `fuel × 1.08 in cruise`, `acceleration enrichment × 1.50`. */
export const typedWords = (part: string, to: PartSize) =>
  `${part === FUEL_TABLE ? 'fuel' : partWord(part)} ${to.label}`

/** `× 1.50` of the amount, or `decay × 1.5` where that is to be changed. */
export const accelerationLabel = ({ factor, decay_factor }: { factor: number; decay_factor: number }) =>
  factor === 1 ? `decay × ${decay_factor}` : `× ${factor.toFixed(2)}`
