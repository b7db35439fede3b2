import type { AdviceResult, Change, PartSize } from '../../../core/contract/advice.ts'
import type { Fitted } from '../../../core/contract/car.ts'
import { partWord } from '../../../core/tuning/adviceText.ts'
import { needsWords } from '../../../core/tuning/drivingWords.ts'
import { isSamePart } from '../../../core/tuning/partPaths.ts'
import { stateWords } from '../../../core/tuning/stateWords.ts'
import { NARROW_SPACE } from '../../../core/units/format.ts'
import { shownValue, type UnitChoices, unitFor } from '../../words/units.ts'
import { sizeText } from '../run/runWords.ts'

/** `main jet 71 → 69`. */
export const changeTitle = ({ part, from, to }: Change) =>
  part === 'fuel_table' ? `fuel ${to.label}` : `${partWord(part)} ${sizeText(from)} → ${sizeText(to)}`

/** `Drive with main jet 69`: the part is in, its proof is wanted. */
export const driveWith = ({ part, to }: Change) => `Drive with ${partWord(part)} ${sizeText(to)}`

/** `1.85 mm → 1.80 mm, 5 % less area`; empty when a part has no size that can be compared. */
export function changeSize({ from, to, area_factor }: Change, choices: UnitChoices): string {
  const unit = unitFor('bore', choices, 'mm')
  const bore = (size: PartSize) => {
    const shown = shownValue(size.bore_mm!, unit)
    return `${shown.text}${NARROW_SPACE}${shown.unit}`
  }
  const sizes = from.bore_mm && to.bore_mm ? `${bore(from)} → ${bore(to)}` : ''
  if (area_factor === null || area_factor === 1) return sizes
  const percent = Math.round(Math.abs(area_factor - 1) * 100)
  const what = from.turns === undefined ? 'area' : 'turn of the screw'
  const area = `${percent}${NARROW_SPACE}% ${area_factor > 1 ? 'more' : 'less'} ${what}`
  return [sizes, from.bore_mm ? area : ''].filter(Boolean).join(', ')
}

/**
 * What to say when the part is no longer the one of the last drive: the advice rests on that drive and cannot know of a swap since.
 * @returns undefined while it is the same; `isDone` when the advised size is in already
 */
export function swappedSince(
  { part, from, to }: Change,
  fitted: Fitted | undefined,
): { text: string; isDone: boolean } | undefined {
  const now = fitted?.[part]
  if (!now || isSamePart(now, from)) return undefined
  if (isSamePart(now, to))
    return {
      text: `${sizeText(to)} is in since that drive. The next advice rests on what it does.`,
      isDone: true,
    }
  return {
    text: `Fitted now: ${sizeText(now)}. The last drive was with ${sizeText(from)}: drive with what is in before you change it again.`,
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

/** What is to be driven before data can decide. */
export function needsText(advice: AdviceResult): string {
  const wanted = needsWords(advice.needs ?? [])
  return wanted ? `Drive ${wanted.replaceAll(' s of', `${NARROW_SPACE}s of`)}.` : ''
}

export const stateWord = (state: string) => stateWords[state] ?? state.replaceAll('_', ' ')

/** Extra fields of an advice that its contract leaves open. */
export interface AdviceMore {
  summary?: string
  cautions?: string[]
  also_needs?: { state: string; seconds: number; why?: string }[]
  missing_sizes?: { text: string }[]
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
  }
}
export const more = (advice: AdviceResult) => advice as AdviceResult & AdviceMore

/** From when on a wait is told in seconds, s. */
const toldFromS = 2

/** `from 12 runs, 8 s`: how much is being worked out, and for how long already once that is worth a word. */
export function waitingText(runCount: number, seconds: number): string {
  return [
    runCount > 1 ? `from ${runCount} runs` : '',
    seconds >= toldFromS ? `${Math.floor(seconds)}${NARROW_SPACE}s` : '',
  ]
    .filter(Boolean)
    .join(', ')
}
