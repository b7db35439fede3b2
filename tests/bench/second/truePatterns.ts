import { defaultTargets } from '../../../core/contract/car.ts'
import type { TransientPattern } from '../../../core/contract/result.ts'
import type { SecondTruth } from './engine.ts'

/** A throttle opening that truly happened in the second engine. */
export interface SecondTipIn {
  startS: number
  endS: number
  ratePctS: number
  /** Within a fifth of the limits of rate or size. */
  borderline: boolean
  /** Null when it arrives at no state with a target. */
  pattern: TransientPattern | null
  /** The pattern stays the same with its limits moved by 0.01 λ either way. */
  patternSure: boolean
}

/* Rows of the trade's table, written anew here from its words. */
const AT_ONCE_S = 0.3
const LATER_S = 1.5
const WATCHED_S = 2.5
const RICH_FOR_S = 0.5
const LEAN_OVER = 0.1
const RICH_UNDER = 0.12
const MARGIN = 0.01
/** To go lean, λ must rise by this over what it was before; after an overrun, which is no mixture, what was drawn in before this does not count, s. */
const RISES_BY = 0.03
const AIR_S = 0.1
const MOST_MIXTURE = 1.6
/** An opening that the next move follows so soon arrives nowhere. */
const LEAST_WATCHED_S = 1

const targetOf = (state: string): number =>
  state in defaultTargets ? defaultTargets[state as keyof typeof defaultTargets].lambda : Number.NaN

/** Writes the true pattern of each opening from the cylinders' λ without wander; `state` without tip-ins. */
export function judgePatterns(
  { timeS, tipIns }: SecondTruth,
  state: readonly string[],
  { lambdaStill: lambda, throttle: throttlePct }: { lambdaStill: Float64Array; throttle: Float64Array },
): void {
  const stepS = timeS[1] - timeS[0]
  for (const tipIn of tipIns) {
    const first = Math.round(tipIn.startS / stepS)
    const before = state[Math.max(0, first - 1)]
    const end = Math.round(tipIn.endS / stepS)
    let last = first
    while (
      last < timeS.length - 1 &&
      timeS[last] - timeS[first] < WATCHED_S &&
      !movesOn(throttlePct, last, end, stepS)
    )
      last++
    if (timeS[last] - timeS[first] < LEAST_WATCHED_S) continue
    const to = targetOf(state[Math.min(last, end + Math.round(1 / stepS))])
    // Out of an overrun the engine passes through light load.
    const from = targetOf(before === 'overrun' ? 'cruise' : before)
    if (Number.isNaN(to)) continue
    const was = lambda[Math.max(0, first - 1)]
    const tell = (margin: number) =>
      tellPattern(
        timeS,
        lambda,
        first,
        last,
        { from: Number.isNaN(from) ? to : from, to, was: was < MOST_MIXTURE ? was : Number.NaN },
        margin,
      )
    tipIn.pattern = tell(0)
    tipIn.patternSure = tell(MARGIN) === tipIn.pattern && tell(-MARGIN) === tipIn.pattern
  }
}

/** True where, the opening being over, the foot moves fast again. */
function movesOn(throttlePct: Float64Array, at: number, end: number, stepS: number): boolean {
  const back = Math.round(0.1 / stepS)
  return at > end + back && Math.abs(throttlePct[at] - throttlePct[at - back]) > 4
}

function tellPattern(
  timeS: Float64Array,
  lambda: Float64Array,
  first: number,
  last: number,
  { from, to, was }: { from: number; to: number; was: number },
  margin: number,
): TransientPattern {
  let leanAfterS = Number.NaN
  let richSinceS = Number.NaN
  let richAfterS = Number.NaN
  for (let i = first; i < last; i++) {
    const t = timeS[i] - timeS[first]
    const isFirst = t <= AT_ONCE_S
    const rise = Number.isNaN(was) ? 0 : lambda[i] - was
    // Behind rich jets the shot that is thin shows as a leap over what it was and over where it goes.
    const over = isFirst
      ? Math.max(lambda[i] - Math.max(from, to), Math.min(lambda[i] - to, rise))
      : lambda[i] - to
    const under = (isFirst ? Math.min(from, to) : to) - lambda[i]
    // A mixture that was lean before, or the air of an overrun, does not go lean.
    const hasRisen = !isFirst || (Number.isNaN(was) ? t > AIR_S : lambda[i] > was + RISES_BY)
    if (over > LEAN_OVER + margin && hasRisen && t <= LATER_S && Number.isNaN(leanAfterS)) leanAfterS = t
    if (!(under > RICH_UNDER + margin)) richSinceS = Number.NaN
    else if (Number.isNaN(richSinceS)) richSinceS = t
    else if (t - richSinceS > RICH_FOR_S && Number.isNaN(richAfterS)) richAfterS = richSinceS
  }
  if (Number.isNaN(leanAfterS)) return Number.isNaN(richAfterS) ? 'clean' : 'rich'
  if (richAfterS > leanAfterS) return 'lean_then_rich'
  return leanAfterS <= AT_ONCE_S ? 'lean_at_once' : 'lean_later'
}
