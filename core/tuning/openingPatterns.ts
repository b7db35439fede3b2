import type { Transient, TransientPattern } from '../contract/result.ts'
import { FAULT_SHARE, patternWords } from './pumpVerdict.ts'

/** What the openings of a run show one by one, as the pump is judged by them. */
export interface OpeningPatterns {
  /** Openings whose pattern is known. */
  told: number
  lean: number
  rich: number
  /** `16 of 19 clean, 3 lean at once`; empty when none is known. */
  text: string
}

/** Patterns of the tip-ins among these, the most frequent first. */
export function openingPatterns(
  transients: readonly Transient[],
  words: Readonly<Record<TransientPattern, string>> = patternWords,
): OpeningPatterns {
  const counts = new Map<TransientPattern, number>()
  for (const { kind, pattern } of transients) {
    if (kind === 'tip_in' && pattern) counts.set(pattern, (counts.get(pattern) ?? 0) + 1)
  }
  const told = [...counts.values()].reduce((sum, count) => sum + count, 0)
  const rich = counts.get('rich') ?? 0
  const text = [...counts]
    .sort((a, b) => b[1] - a[1])
    .map(([pattern, count], i) => `${count}${i === 0 ? ` of ${told}` : ''} ${words[pattern]}`)
    .join(', ')
  return { told, lean: told - rich - (counts.get('clean') ?? 0), rich, text }
}

/** True when so many openings show it that it is a fault and not the road; without a known pattern nothing speaks against it. */
export const isShared = (count: number, { told }: OpeningPatterns): boolean => count >= FAULT_SHARE * told
