import type { AdviceResult } from '../contract/advice.ts'
import type { Box, Fitted } from '../contract/car.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { unsizedSentence } from './adviceParts.ts'
import type { Plan } from './advicePlan.ts'
import type { AdviceStanding } from './adviceStanding.ts'
import { canMove, distanceOut, STRONG_SHARE } from './adviceStates.ts'
import { unmatchedSentence } from './flowFigures.ts'
import { findMissingSizes } from './missingSizes.ts'
import type { AdviceState } from './partPaths.ts'
import type { ResponseModel } from './responseModel.ts'

export type Left = ReturnType<typeof whatStaysOff>

interface Judged {
  readonly states: AdviceResult['states']
  readonly notJudged: readonly { state: AdviceState }[]
}

/** What is off and stays so: for want of a size, of a size noted, or of anything in the box. */
export function whatStaysOff(
  { newest, box, record, boreUnit }: AdviceEvidence,
  { model, known }: AdviceStanding,
  { choices, chosen }: Plan,
  { states, notJudged }: Judged,
  hasChange: boolean,
) {
  // Nobody is sent to buy a jet for a car that is right, though another might lie nearer the middle of a band.
  const isAnyOut = !record.unclear && [...known.keys()].some((state) => Number(states[state].inside) < 0.5)
  const missing = isAnyOut ? findMissingSizes(model, known, choices, chosen.plan, box, boreUnit) : []
  // Within its doubt of the band's edge with nothing better at hand is as near as this box comes.
  const isOut = (state: AdviceState) => states[state].verdict === 'rich' || states[state].verdict === 'lean'
  const isAsked = (state: AdviceState) => notJudged.some((entry) => entry.state === state)
  const off = [...known]
    .filter(([state, band]) => isOut(state) && distanceOut(model, state, band) > 1 && !isAsked(state))
    .map(([state]) => state)
  const fixed = off.filter((state) => !canMove(model, state))
  const unmatched = unmatchedOf(model, off, newest.fitted, box)
  const isUnmatched = unmatched.length > 0 && missing.length === 0
  const unsized = unsizedSentence(newest.fitted, fixed, hasChange)
  return {
    missing,
    off,
    stuck: hasChange || isUnmatched ? [] : off.filter((state) => canMove(model, state)),
    unsized: isUnmatched ? [...unmatched, ...(unsized ? [unsized] : [])].join(' ') : unsized,
  }
}

/** Parts that feed what is off, and whose sizes in the box are given in another figure: what would help, in sentences. */
function unmatchedOf(model: ResponseModel, off: readonly AdviceState[], fitted: Fitted, box: Box): string[] {
  return model.paths
    .filter(({ id }) => off.some((state) => (model.share(state, id)?.mean ?? 0) >= STRONG_SHARE))
    .flatMap(({ part }) => unmatchedSentence(part, fitted[part], box[part] ?? []) ?? [])
}
