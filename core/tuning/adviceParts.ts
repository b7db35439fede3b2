import { type Box, type Fitted, type PartsFile, partsFileSchema } from '../contract/car.ts'
import { STRONG_SHARE } from './adviceStates.ts'
import { partWord } from './adviceText.ts'
import { type AdviceState, fuelPaths, openingOf } from './partPaths.ts'

/** Box and parts of a parts file, or of a bare box. Throws `RangeError` naming the field at fault. */
export function readParts(box: Box | PartsFile): { box: Box; fitted?: Fitted } {
  const looksWhole =
    typeof box === 'object' && box !== null && typeof box.box === 'object' && !Array.isArray(box.box)
  const hasFitted = typeof box === 'object' && box !== null && 'fitted' in box && !Array.isArray(box.fitted)
  const parsed = partsFileSchema.safeParse(looksWhole || hasFitted ? box : { box })
  if (!parsed.success) {
    const issue = parsed.error.issues[0]
    throw new RangeError(`invalid parts: ${issue.path.join('.') || 'file'}: ${issue.message}`)
  }
  return { box: parsed.data.box ?? {}, ...(parsed.data.fitted ? { fitted: parsed.data.fitted } : {}) }
}

/**
 * Why nothing can be chosen for these states, in a sentence: no part is noted, or those that feed them are noted by label alone. Undefined when nothing
 * of the kind stands in the way.
 */
export function unsizedSentence(fitted: Fitted, states: readonly AdviceState[]): string | undefined {
  if (states.length === 0) return undefined
  if (Object.keys(fitted).length === 0)
    return 'Cannot choose: nothing is noted as fitted, and without it no size can be named.'
  const unsized = fuelPaths.filter(
    ({ part, rod, share }) =>
      fitted[part] &&
      !(openingOf(fitted[part], 'cruise', rod ? fitted[rod] : undefined) > 0) &&
      states.some((state) => (share[state]?.[0] ?? 0) >= STRONG_SHARE),
  )
  if (unsized.length === 0) return undefined
  const names = unsized.map(({ part }) => partWord(part)).join(' and ')
  return `Cannot choose: the ${names} is noted without a bore, flow or turns.`
}
