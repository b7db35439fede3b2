import type { Box, Fitted, Part } from '../contract/car.ts'
import { partWord } from './adviceText.ts'
import { hasReckonedBore, unmatchedSentence } from './flowFigures.ts'
import { type AdviceState, isSamePart, pathFactor } from './partPaths.ts'
import { type Choices, costOf, isTooFew, type Plan } from './planChanges.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import { type BoreUnit, boreBesideWord } from './sizeWords.ts'

/** A size that the box lacks and that would help more than any it has. */
export interface MissingSize {
  part: string
  bore_mm?: number
  turns?: number
  flow?: number
  text: string
}

/** How much lower the cost must be for a size to be worth buying, and the sizes tried: ±40 % of area in steps of 1 %. Chosen here. */
const WORTH_BUYING = 0.5
const STEPS = 40
/** The same of two sizes together, in steps of this, %. */
const PAIR_STEP = 4

/**
 * The size that would be best if it were in the box, or where no one size does, the best two of parts that the box lists none of; told only if that beats the plan clearly, brings in
 * a state that the plan leaves outside its band, and puts none outside. `boreUnit`: how its text gives a bore. Its bore is rounded to 0.01 mm, as finely as jets are made.
 */
export function findMissingSizes(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  plan: Plan,
  box: Box,
  boreUnit?: BoreUnit,
): MissingSize[] {
  const outside = (fitted: Fitted) =>
    [...bands].filter(([state, band]) => {
      const then = model.forecast(state, fitted)
      return then && (then.mean < band.low || then.mean > band.high)
    })
  const left = outside(plan.fitted)
  if (left.length === 0) return []
  const paths = model.paths.filter(({ part }) => plan.fitted[part].turns === undefined || choices.has(part))
  /** What these sizes in place of the planned ones would do; undefined where they are not worth buying. */
  const judge = (sizes: Fitted) => {
    const fitted = { ...plan.fitted, ...sizes }
    const gain = plan.cost - costOf(model, bands, fitted)
    if (gain < WORTH_BUYING) return undefined
    const isNear = paths.every((path) => {
      const factor = path.part in sizes ? pathFactor(path, model.base, fitted, 'cruise') : 1
      return factor > 0.3 && factor < 3
    })
    const then = outside(fitted)
    const isBetter =
      then.length < left.length && then.every(([state]) => left.some((entry) => entry[0] === state))
    return isNear && isBetter
      ? { gain, sizes, word: then.length === 0 ? 'would do' : 'would help' }
      : undefined
  }
  const unlisted = paths.map(({ part }) => part).filter((part) => !choices.has(part))
  const best =
    bestOf(paths.flatMap(({ part }) => sizesOf(plan, part, 1).map((size) => judge({ [part]: size })))) ??
    bestOf(pairsOf(unlisted).flatMap((parts) => pairsOfSizes(plan, parts).map(judge)))
  if (!best) return []
  const parts = Object.keys(best.sizes)
  return parts.map((part) => {
    const now = model.base[part]
    const other = parts.find((name) => name !== part)
    const word = other ? `${best.word} together with another ${partWord(other)}` : best.word
    return describe(part, best.sizes[part], word, whyNone(part, now, choices, box), (mm) =>
      boreBesideWord(mm, now, boreUnit),
    )
  })
}

interface Judged {
  readonly gain: number
  readonly sizes: Fitted
  readonly word: string
}

/** The one that gains most; undefined without any. */
const bestOf = (judged: readonly (Judged | undefined)[]): Judged | undefined =>
  judged.reduce((best, one) => (one && !(best && one.gain <= best.gain) ? one : best), undefined)

/** Sizes of a part around the planned one, `stepPercent` of area apart. */
function sizesOf(plan: Plan, part: string, stepPercent: number): Part[] {
  const sizes: Part[] = []
  for (let percent = -STEPS; percent <= STEPS; percent += stepPercent)
    sizes.push(scaled(plan.fitted[part], 1 + percent / 100))
  return sizes
}

const pairsOf = (parts: readonly string[]) => {
  const names = [...new Set(parts)]
  return names.flatMap((one, i) => names.slice(i + 1).map((other) => [one, other] as const))
}

/** Where one size alone puts another state out, two together may do. */
const pairsOfSizes = (plan: Plan, [one, other]: readonly [string, string]): Fitted[] =>
  sizesOf(plan, one, PAIR_STEP).flatMap((a) =>
    sizesOf(plan, other, PAIR_STEP).map((b) => ({ [one]: a, [other]: b })),
  )

function scaled(part: Part, areaFactor: number): Part {
  const label = 'wanted'
  const more = hasReckonedBore(part) ? { flow: part.flow! * areaFactor } : {}
  if (part.turns !== undefined) return { ...part, label, turns: part.turns * areaFactor }
  if (part.bore_mm !== undefined) {
    return { ...part, ...more, label, bore_mm: Math.round(part.bore_mm * Math.sqrt(areaFactor) * 100) / 100 }
  }
  return { ...part, label, flow: (part.flow ?? 1) * areaFactor }
}

/** Why the box does not help: none near, none at all, or none whose size is given as that of the fitted one is. */
function whyNone(part: string, now: Part, choices: Choices, box: Box): string {
  if (choices.has(part))
    return now.turns === undefined ? 'the box has none near it' : 'the box lists none near it'
  if (box[part]?.length > 0 && box[part].every((size) => isSamePart(size, now)))
    return 'the box holds only what is fitted'
  if (box[part]?.some((size) => isTooFew(size, now))) return 'the box has too few of one size'
  if (!box[part]?.length) return 'the box has no such part'
  return unmatchedSentence(part, now, box[part]) ?? 'the box gives none in the figure that the fitted one has'
}

function describe(
  part: string,
  wanted: Part,
  word: string,
  why: string,
  boreWord: (mm: number) => string,
): MissingSize {
  const name = partWord(part)
  if (wanted.turns !== undefined) {
    const turns = Math.round(wanted.turns * 8) / 8
    return { part, turns, text: `A setting is missing: ${name} at about ${turns} turns ${word}; ${why}.` }
  }
  const { bore_mm } = wanted
  const isFlow = bore_mm === undefined || hasReckonedBore(wanted)
  const size = isFlow
    ? `flowing about ${Math.round((wanted.flow ?? 0) * 100) / 100}`
    : `of about ${boreWord(bore_mm)}`
  const figures = {
    ...(bore_mm === undefined ? {} : { bore_mm }),
    ...(isFlow ? { flow: Math.round((wanted.flow ?? 0) * 100) / 100 } : {}),
  }
  // It may lie in the box, in another figure.
  const text = isSentence(why)
    ? `A ${name} ${size} ${word}. ${why}`
    : `A size is missing: a ${name} ${size} ${word}; ${why}.`
  return { part, ...figures, text }
}

const isSentence = (why: string) => why.endsWith('.')
