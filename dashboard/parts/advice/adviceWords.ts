import type { AdviceResult, Change, PartSize } from '../../../core/contract/advice.ts'
import type { Box, Fitted, Part } from '../../../core/contract/car.ts'
import { partWord } from '../../../core/tuning/adviceText.ts'
import { needsWords } from '../../../core/tuning/drivingWords.ts'
import { hasReckonedBore } from '../../../core/tuning/flowFigures.ts'
import { ACCELERATION, FUEL_TABLE, isTypedIn, typedWords } from '../../../core/tuning/injectionNumbers.ts'
import { type LeakLook, lookSentence } from '../../../core/tuning/leakLook.ts'
import { isSamePart } from '../../../core/tuning/partPaths.ts'
import { stateWords } from '../../../core/tuning/stateWords.ts'
import { NARROW_SPACE, sentenceStart } from '../../../core/units/format.ts'
import { num, sizeText, turnsText } from '../../words/runWords.ts'
import { shownValue, type UnitChoices, unitFor } from '../../words/units.ts'

/** `main jet 71 → 69`. */
export const changeTitle = ({ part, from, to }: Change) =>
  isTypedIn(part) ? typedWords(part, to) : `${partWord(part)} ${sizeText(from)} → ${sizeText(to)}`

/** `1.85 mm → 1.80 mm, 5 % less area`, `5.8 % more fuel there`; empty when a part has no size that can be compared. */
export function changeSize({ part, from, to, area_factor }: Change, choices: UnitChoices): string {
  if (isTypedIn(part)) {
    if (area_factor === null) return ''
    const share = num(Math.abs(area_factor - 1) * 100, part === FUEL_TABLE ? 1 : 0)
    return `${share}${NARROW_SPACE}% ${area_factor > 1 ? 'more' : 'less'} ${part === ACCELERATION ? 'of it' : 'fuel there'}`
  }
  const unit = unitFor('bore', choices, 'mm')
  const bore = (size: PartSize) => {
    const shown = shownValue(size.bore_mm!, unit)
    return `${shown.text}${NARROW_SPACE}${shown.unit}`
  }
  const isNoted = !hasReckonedBore(from) && !hasReckonedBore(to)
  const sizes = isNoted && from.bore_mm && to.bore_mm ? `${bore(from)} → ${bore(to)}` : ''
  if (area_factor === null || area_factor === 1) return sizes
  const percent = Math.round(Math.abs(area_factor - 1) * 100)
  const what = from.turns === undefined ? 'area' : 'turn of the screw'
  const area = `${percent}${NARROW_SPACE}% ${area_factor > 1 ? 'more' : 'less'} ${what}`
  return [sizes, (from.bore_mm ?? from.flow) ? area : ''].filter(Boolean).join(', ')
}

/** Parts that were changed since the drive that an advice rests on. */
export interface SwappedSince {
  /** What comes next then: `Drive with main jet 69`. */
  drive: string
  text: string
  /** The advised size is in, and nothing else was changed. */
  isDone: boolean
}

/**
 * What to say when other parts are in than in the last drive: the advice rests on that drive and cannot know of a swap since.
 * @param now what is fitted, as far as it is known
 * @param driven what the drive had; where it noted nothing, the advised part is compared with the advice alone
 * @returns undefined while nothing was changed
 */
export function swappedSince(
  { part, from, to }: Change,
  now: Fitted | undefined,
  driven: Fitted = {},
): SwappedSince | undefined {
  if (!now) return undefined
  const before: Fitted = { [part]: from as Part, ...driven }
  const swapped = Object.keys(before).filter((name) => now[name] && !isSamePart(now[name], before[name]))
  if (swapped.length === 0) return undefined
  const isAlone = swapped.length === 1 && swapped[0] === part
  const drive = isAlone ? `Drive with ${partWord(part)} ${sizeText(now[part])}` : 'Drive with what is in now'
  if (isAlone && isSamePart(now[part], to as Part)) {
    const text = `${sizeText(to)} is in since that drive. The next advice rests on what it does.`
    return { drive, text, isDone: true }
  }
  const words = swapped.map((name) => `${partWord(name)} ${sizeText(before[name])} → ${sizeText(now[name])}`)
  return {
    drive,
    text: `Changed since that drive: ${words.join(', ')}. What it advised holds no more: the next advice rests on a drive with what is in now.`,
    isDone: false,
  }
}

/** Where the change is judged, in words. */
export function changeState(change: Change): string {
  const state =
    typeof change.state === 'string' ? change.state : change.circuit === 'power' ? 'power' : 'cruise'
  return stateWords[state] ?? state
}

/** True when no driving helps: the board sends no engine speed. */
export function isWithoutSpeed(advice: AdviceResult): boolean {
  return advice.needs?.some(({ channel }) => channel === 'engine_speed') === true
}

/** What the owner is to look for before the next part is touched; undefined without such a question. */
export function lookOf(advice: AdviceResult): LeakLook | undefined {
  return more(advice).look
}

/** The warnings without that of the look, which has a place of its own. */
export function otherWarnings(advice: AdviceResult): string[] {
  const look = lookOf(advice)
  return (advice.warnings ?? []).filter((line) => !look || line !== lookSentence(look))
}

/** What is to be driven before data can decide. */
export function needsText(advice: AdviceResult): string {
  const wanted = needsWords(advice.needs ?? [])
  return wanted ? `Still wanted: ${wanted.replaceAll(' s of', `${NARROW_SPACE}s of`)}.` : ''
}

/** Why it is to be driven once more, in sentences; that a state was not driven is said by asking for it. */
export const needsReasons = (advice: AdviceResult): string[] =>
  (advice.needs ?? []).flatMap(({ why }) =>
    typeof why === 'string' && why && !/^no steady .* was seen\.?$/.test(why)
      ? [`${sentenceStart(why).replace(/\.$/, '')}.`]
      : [],
  )

/** `main jet of about 1.89 mm`: the size that the box lacks, as the short answer; undefined when none is known. */
export function wantedSize(advice: AdviceResult, choices: UnitChoices): string | undefined {
  const size = more(advice).missing_sizes?.[0]
  if (!size) return undefined
  const name = partWord(size.part)
  if (size.turns !== undefined) return `${name} at about ${turnsText(size.turns)} turns`
  if (size.flow !== undefined) return `${name} flowing about ${num(size.flow, 2)}`
  if (size.bore_mm === undefined) return undefined
  const { text, unit } = shownValue(size.bore_mm, unitFor('bore', choices, 'mm'))
  return `${name} of about ${text}${NARROW_SPACE}${unit}`
}

/**
 * What is off and stays so, in a sentence: `Cruise (rich) is off, and nothing in the parts box brings it nearer.` Of an empty box that need not be
 * said, nor where a warning beside it does.
 */
export function offText(off: readonly string[], hasEmptyBox: boolean, warnings: readonly string[]): string {
  const isSaid = hasEmptyBox || warnings.some((line) => line.startsWith('Nothing in the box brings'))
  const [are, them] = off.length === 1 ? ['is', 'it'] : ['are', 'them']
  const rest = isSaid ? '' : `, and nothing in the parts box brings ${them} nearer`
  return `${sentenceStart(off.join(', '))} ${are} off${rest}.`
}

/** A summary that says no more than the headline above it, which names no part. */
export const isNoPart = (summary: string | undefined): boolean =>
  summary === undefined || summary.startsWith('No part at hand')

/** The note on the choke, unless one of the changes is told with it. */
export function chokeText(advice: AdviceResult): string | undefined {
  const isChange = [advice.next, ...advice.also].some((change) => change?.part === 'choke')
  return isChange ? undefined : more(advice).choke?.text
}

/** A box without a single part in it. */
export const isBoxEmpty = (box: Box | undefined): boolean =>
  box !== undefined && Object.values(box).every((sizes) => sizes.length === 0)

export const stateWord = (state: string) => stateWords[state] ?? state.replaceAll('_', ' ')

/** Extra fields of an advice that its contract leaves open. */
export interface AdviceMore {
  summary?: string
  cautions?: string[]
  look?: LeakLook
  missing_sizes?: { part: string; bore_mm?: number; turns?: number; flow?: number; text: string }[]
  /** States that the drives lacked and that are not asked for again. */
  not_judged?: { state: string; text: string }[]
  choke?: { text: string }
  factors?: {
    states: Record<string, { factor: number; percent: number; seconds: number }>
    cells: (number | null)[][]
    seconds: number[][]
    rpm_edges: number[]
    load_edges: number[]
    acceleration_percent: number | null
    acceleration: { factor: number; decay_factor: number } | null
    cold: { coolant_C: number; factor: number; percent: number }[]
  }
}
export const more = (advice: AdviceResult) => advice as AdviceResult & AdviceMore

/** From when on a wait is told in seconds, s. */
const toldFromS = 2

/** `from 12 runs, 8 s, 40 %`: how much is being worked out, for how long already once that is worth a word, and how far it is. */
export function waitingText(runCount: number, seconds: number, share?: number): string {
  return [
    runCount > 1 ? `from ${runCount} runs` : '',
    seconds >= toldFromS ? `${Math.floor(seconds)}${NARROW_SPACE}s` : '',
    seconds >= toldFromS && share !== undefined ? `${Math.round(100 * share)}${NARROW_SPACE}%` : '',
  ]
    .filter(Boolean)
    .join(', ')
}
