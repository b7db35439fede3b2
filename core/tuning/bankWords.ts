import { sentenceStart } from '../units/format.ts'
import { type MixtureUnit, mixtureWords } from '../units/mixtureUnit.ts'
import type { BankLevel } from './bankLevels.ts'
import { type AdviceState, adviceStates } from './partPaths.ts'
import { stateWords } from './stateWords.ts'

/** Banks nearer than this, in λ, are taken for alike. Common practice, no source. */
export const BANKS_ALIKE = 0.02

/**
 * Where two banks stand on different sides of a band's edge, in one text: jets feed both alike, so no size puts that right, and their mean may lie inside
 * its band while neither does. `names`: what the owner calls the banks, in their order.
 */
export function bankSentences(
  banks: Record<string, Partial<Record<AdviceState, BankLevel>>> | undefined,
  unit: MixtureUnit,
  names: readonly string[] = [],
): string[] {
  if (!banks) return []
  const sentences: string[] = []
  const name = (i: number) => names[i] || `bank ${i + 1}`
  for (const state of adviceStates) {
    const one = banks[1]?.[state]
    const two = banks[2]?.[state]
    if (!one || !two || one.verdict === two.verdict || Math.abs(one.lambda - two.lambda) < BANKS_ALIKE)
      continue
    if (one.verdict === 'not_enough_data' || two.verdict === 'not_enough_data') continue
    const word = ({ verdict, lambda }: BankLevel) =>
      `${verdict.replace('_', ' ')} (${mixtureWords(lambda, unit)})`
    sentences.push(
      `${sentenceStart(stateWords[state] ?? state)}: ${name(0)} is ${word(one)}, ${name(1)} ${word(two)}.`,
    )
  }
  if (sentences.length === 0) return []
  const remedy =
    'What feeds both alike cannot put that right: look for an air leak, a tight valve or unequal screws.'
  return [[...sentences, remedy].join(' ')]
}
