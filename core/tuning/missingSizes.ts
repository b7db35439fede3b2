import type { Box, Fitted, Part } from '../contract/car.ts'
import { partWord } from './adviceText.ts'
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

/**
 * For each fitted jet, the size that would be best if it were in the box; told only if it beats the plan clearly, brings in a state that the plan leaves
 * outside its band, and puts none outside. `boreUnit`: how its text gives a bore. Its bore is rounded to 0.01 mm, as finely as jets are made.
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
  let best: { gain: number; size: MissingSize } | undefined
  for (const path of model.paths) {
    const planned = plan.fitted[path.part]
    const now = model.base[path.part]
    if (planned.turns !== undefined && !choices.has(path.part)) continue
    for (let step = -STEPS; step <= STEPS; step++) {
      const wanted = scaled(planned, 1 + step / 100)
      const fitted = { ...plan.fitted, [path.part]: wanted }
      const cost = costOf(model, bands, fitted)
      const gain = plan.cost - cost
      if (gain < WORTH_BUYING || (best && gain <= best.gain)) continue
      const factor = pathFactor(path, model.base, fitted, 'cruise')
      if (!(factor > 0.3 && factor < 3)) continue
      const then = outside(fitted)
      if (then.length >= left.length || then.some(([state]) => !left.some((entry) => entry[0] === state)))
        continue
      const word = then.length === 0 ? 'would do' : 'would help'
      best = {
        gain,
        size: describe(path.part, wanted, word, whyNone(path.part, now, choices, box), (mm) =>
          boreBesideWord(mm, now, boreUnit),
        ),
      }
    }
  }
  return best ? [best.size] : []
}

function scaled(part: Part, areaFactor: number): Part {
  const label = 'wanted'
  if (part.turns !== undefined) return { ...part, label, turns: part.turns * areaFactor }
  if (part.bore_mm !== undefined) {
    return { ...part, label, bore_mm: Math.round(part.bore_mm * Math.sqrt(areaFactor) * 100) / 100 }
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
  return box[part]?.length > 0
    ? 'the box gives none in the figure that the fitted one has'
    : 'the box has no such part'
}

function describe(
  part: string,
  wanted: Part,
  word: string,
  why: string,
  boreWord: (mm: number) => string,
): MissingSize {
  if (wanted.bore_mm !== undefined) {
    return {
      part,
      bore_mm: wanted.bore_mm,
      text: `A size is missing: a ${partWord(part)} of about ${boreWord(wanted.bore_mm)} ${word}; ${why}.`,
    }
  }
  if (wanted.turns !== undefined) {
    const turns = Math.round(wanted.turns * 8) / 8
    return {
      part,
      turns,
      text: `A setting is missing: ${partWord(part)} at about ${turns} turns ${word}; ${why}.`,
    }
  }
  const flow = Math.round((wanted.flow ?? 0) * 100) / 100
  return {
    part,
    flow,
    text: `A size is missing: a ${partWord(part)} flowing about ${flow} ${word}; ${why}.`,
  }
}
