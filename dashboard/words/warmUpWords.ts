import { type CarProfile, isInjection } from '../../core/contract/car.ts'
import type { WarmUp } from '../../core/contract/result.ts'
import { NARROW_SPACE, sentenceStart } from '../../core/units/format.ts'
import { lengthText, num } from './runWords.ts'
import { shownValue, type UnitChoices, unitFor } from './units.ts'

const chokeWords = {
  early: 'The choke came off too early: lean while cold.',
  late: 'The choke came off too late: rich though the engine needed it no more.',
  fine: 'The choke came off in good time.',
  unknown: 'Whether the choke was right cannot be told from this run.',
  warm: 'The engine was started warm: the choke is judged by a cold start.',
} as const
/** The same of an injection. */
const enrichmentWords = {
  early: 'The cold enrichment was too little: lean while cold.',
  late: 'The cold enrichment was too much: rich though the engine needed it no more.',
  fine: 'The cold enrichment was right.',
  unknown: 'Whether the cold enrichment was right cannot be told from this run.',
  warm: 'The engine was started warm: the cold enrichment is judged by a cold start.',
} as const

/** A warm engine warms no further: over its coolant the mixture shows the driving and no warm-up. */
export const isWarmStart = ({ start }: WarmUp): boolean => start === 'warm'

/** `idles by itself after 9 min at 83 °C`; without the coolant where it is not known. */
export function selfIdleText({ self_idle_s, self_idle_coolant_C }: WarmUp, choices: UnitChoices): string {
  if (self_idle_s === null) return 'did not idle by itself'
  const after = `idles by itself after ${lengthText(self_idle_s)}`
  if (self_idle_coolant_C === null) return after
  const { text, unit } = shownValue(self_idle_coolant_C, unitFor('temperature', choices, 'C'))
  return `${after} at ${text}${NARROW_SPACE}${unit}`
}

/** A warm-up in a sentence, and what it says of the choke, or of what an injection has in its place, in a second. */
export function warmUpText(warmUp: WarmUp, choices: UnitChoices, car?: CarProfile): string {
  const { crank_s, stalls, choke } = warmUp
  const said = [
    ...(crank_s === null ? [] : [`cranked ${num(crank_s, 1)}${NARROW_SPACE}s`]),
    stalls === 0 ? 'no stall' : `${stalls} ${stalls === 1 ? 'stall' : 'stalls'}`,
    selfIdleText(warmUp, choices),
  ]
  const words = isInjection(car) ? enrichmentWords : chokeWords
  const verdict = choke === 'unknown' && isWarmStart(warmUp) ? words.warm : words[choke]
  return `${sentenceStart(said.join(', '))}. ${verdict}`
}
