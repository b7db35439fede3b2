import type { Circuit } from '../contract/car.ts'
import { BANKS_ALIKE } from './bankWords.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'

/** Circuits in which a lean bank can hurt the engine, whatever the other one reads. */
const LEANER_COUNTS: ReadonlySet<Circuit> = new Set(['power', 'secondary'])

/**
 * Rows of an engine with two sensors: `both` from the pieces of both banks, where they stand alike; else those of the bank that is further off, and
 * under load of the leaner one, since a mean would hide it. `names`: what the owner calls the banks, in their order.
 */
export function verdictsOfBanks(
  both: readonly CircuitVerdict[],
  one: readonly CircuitVerdict[],
  two: readonly CircuitVerdict[],
  names: readonly string[] = [],
): CircuitVerdict[] {
  return both.map((row) => {
    const rows = [one, two].map((of) => of.find(({ circuit }) => circuit === row.circuit))
    const [first, second] = rows
    // Two sensors read the same seconds.
    const seconds = Math.max(first?.seconds ?? 0, second?.seconds ?? 0)
    if (!first || !second || !isJudged(first) || !isJudged(second)) return { ...row, seconds }
    if (Math.abs(first.error - second.error) < BANKS_ALIKE) return { ...row, seconds }
    const isSecond = LEANER_COUNTS.has(row.circuit)
      ? second.error > first.error
      : reach(second) > reach(first)
    const name = names[isSecond ? 1 : 0] || `bank ${isSecond ? 2 : 1}`
    const worse = isSecond ? second : first
    return { ...worse, detail: `${LEANER_COUNTS.has(row.circuit) ? 'leaner' : 'further off'}: ${name}` }
  })
}

const isJudged = ({ verdict }: CircuitVerdict) => verdict !== 'not_enough_data'

/** How far out of its band, as a share of it. */
const reach = ({ error, bandLean, bandRich }: CircuitVerdict) => Math.max(error / bandLean, -error / bandRich)
