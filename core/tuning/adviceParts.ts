import { type Box, type Fitted, type Part, type PartsFile, partsFileSchema } from '../contract/car.ts'
import { STRONG_SHARE } from './adviceStates.ts'
import { isPlural, partWord } from './adviceText.ts'
import { type AdviceState, fuelPaths, openingOf, rodStepMm, valveParts } from './partPaths.ts'
import { sizedPart } from './partSize.ts'
import { stateWords } from './stateWords.ts'

/** Box and parts of a parts file, or of a bare box, with their sizes in mm. Throws `RangeError` naming the field at fault. */
export function readParts(box: Box | PartsFile): { box: Box; fitted?: Fitted } {
  const looksWhole =
    typeof box === 'object' && box !== null && typeof box.box === 'object' && !Array.isArray(box.box)
  const hasFitted = typeof box === 'object' && box !== null && 'fitted' in box && !Array.isArray(box.fitted)
  const parsed = partsFileSchema.safeParse(looksWhole || hasFitted ? box : { box })
  if (!parsed.success) {
    const issue = parsed.error.issues[0]
    throw new RangeError(`invalid parts: ${issue.path.join('.') || 'file'}: ${issue.message}`)
  }
  const sizes = (part: Part, field: string) => {
    try {
      return sizedPart(part)
    } catch (error) {
      throw new RangeError(`invalid parts: ${field}.${error instanceof Error ? error.message : error}`)
    }
  }
  const sized: Box = {}
  for (const [name, list] of Object.entries(parsed.data.box ?? {}))
    sized[name] = list.map((part, i) => sizes(part, `box.${name}.${i}`))
  if (!parsed.data.fitted) return { box: sized }
  const fitted: Fitted = {}
  for (const [name, part] of Object.entries(parsed.data.fitted)) fitted[name] = sizes(part, `fitted.${name}`)
  return { box: sized, fitted }
}

/**
 * Why nothing can be chosen for these states, in a sentence: no part is noted, or those that feed them are noted by label alone. Undefined when nothing
 * of the kind stands in the way. `hasChange`: something else is advised.
 */
export function unsizedSentence(
  fitted: Fitted,
  states: readonly AdviceState[],
  hasChange = false,
): string | undefined {
  const fact = unsizedFact(fitted, states)
  if (fact === undefined) return undefined
  const names = states.map((state) => stateWords[state] ?? state).join(' and ')
  return hasChange ? `For ${names} nothing can be chosen: ${fact}.` : `Cannot choose: ${fact}.`
}

function unsizedFact(fitted: Fitted, states: readonly AdviceState[]): string | undefined {
  if (states.length === 0) return undefined
  if (Object.keys(fitted).length === 0)
    return 'nothing is noted as fitted, and without it no size can be named'
  const paths = fuelPaths.filter(
    ({ part, rod, share }) =>
      fitted[part] &&
      !(openingOf(fitted[part], 'cruise', rod ? fitted[rod] : undefined) > 0) &&
      states.some((state) => (share[state]?.[0] ?? 0) >= STRONG_SHARE),
  )
  if (paths.length === 0) return undefined
  const shut = paths.find(({ part }) => fitted[part].turns !== undefined)
  if (shut)
    return `the ${partWord(shut.part)} ${areWord([shut.part])} noted as shut; open them by a turn, note it and drive again`
  const rods = paths.flatMap(({ part, rod }) =>
    rod && fitted[rod] && openingOf(fitted[part], 'cruise') > 0 ? [rod] : [],
  )
  if (rods.length > 0)
    return Number.isNaN(rodStepMm(fitted[rods[0]], 'cruise') ?? 0)
      ? `the ${partWord(rods[0])} is noted without its diameters`
      : `the ${partWord(rods[0])} is noted as thicker than the bore of its jet`
  const names = paths.map(({ part }) => part)
  const what = names.every(isTurned) ? 'their turns' : 'a bore, flow or turns'
  return `the ${names.map(partWord).join(' and the ')} ${areWord(names)} noted without ${what}`
}

const areWord = (parts: readonly string[]) => (parts.length > 1 || isPlural(parts[0]) ? 'are' : 'is')
const isTurned = (part: string) => part.endsWith('screws')

/** What a valve noted by its label alone leaves open, while a state that it feeds is off; with the vacuum at which the mixture shows it to open. */
export function unsizedValveSentence(
  fitted: Fitted,
  off: readonly AdviceState[],
  opensInHg: number | undefined,
): string | undefined {
  const valve = valveParts.find((name) => fitted[name] && fitted[name].opens_inHg === undefined)
  if (!valve || !off.some((state) => state === 'part_throttle' || state === 'power')) return undefined
  const seen =
    opensInHg === undefined ? '' : ` By the mixture it opens at about ${opensInHg.toFixed(1)} inHg.`
  return `The ${partWord(valve)} is noted without the vacuum at which it opens: another one cannot be chosen.${seen}`
}

/** Parts of the box that nothing is done with, in a sentence: none of that name is noted as fitted. Undefined without any. */
export function unusedSentence(fitted: Fitted, box: Box): string | undefined {
  const names = Object.keys(box).filter((name) => box[name].length > 0 && !fitted[name])
  if (names.length === 0 || Object.keys(fitted).length === 0) return undefined
  return `Of the box not used, since none is noted as fitted: ${names.map(partWord).join(', ')}.`
}
