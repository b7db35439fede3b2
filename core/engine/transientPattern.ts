import type { TransientPattern } from '../contract/result.ts'
import type { Stretch } from './transientStretch.ts'

export interface TransientLimits {
  /** λ over target that counts as lean, and under target that counts as rich. */
  readonly lean: number
  readonly rich: number
  /** Rich for longer than this, s. */
  readonly richLastsS: number
  /** Lean before this is "at once", from it to `laterS` "later", s after the opening. */
  readonly atOnceS: number
  readonly laterS: number
  /** To go lean at once λ must rise by this over what it was before the opening. */
  readonly rises: number
  /** Air of an overrun that is still seen after so long was never followed by a mixture, s after the opening: that is lean at once. */
  readonly airS: number
  /** How long the mixture after an opening is watched, s. */
  readonly watchedS: number
  /** Secondary throttle counts as open from here, %. */
  readonly secondaryOpenPct: number
  /** Lean within this after the secondaries opened belongs to them, s. */
  readonly secondaryS: number
  /**
   * Without a channel for them: secondaries are taken to open past this throttle and load, the engine this much faster than its warm idle. Where less
   * air flows than that they hardly open, and a shot that ends early is the likelier cause.
   */
  readonly wideThrottlePct: number
  readonly wideLoad: number
  readonly wideSpeedFactor: number
}

/** Definitions of the trade, common practice without a source. */
export const defaultTransientLimits: Readonly<TransientLimits> = Object.freeze({
  lean: 0.1,
  rich: 0.12,
  richLastsS: 0.5,
  atOnceS: 0.3,
  laterS: 1.5,
  rises: 0.03,
  airS: 0.4,
  watchedS: 2.5,
  secondaryOpenPct: 5,
  secondaryS: 0.7,
  wideThrottlePct: 36,
  wideLoad: 0.9,
  wideSpeedFactor: 2.8,
})

/** What an opening is held against. */
export interface PatternFrame {
  /** Highest and lowest wanted λ of the first moments, and of those after them. */
  readonly firstHighest: number
  readonly firstLowest: number
  readonly highest: number
  readonly lowest: number
  /** λ just before the opening; NaN where that was no mixture, in an overrun. */
  readonly was: number
  /** When the secondaries may have opened where no channel tells it, s after the opening; NaN when they did not or there are none. */
  readonly wideS: number
}

/** A rich stretch is over after so long above its limit; an opening that is watched for less than that shows no pattern, s. */
const RICH_BREAK_S = 0.06
const LEAST_WATCHED_S = 0.45
/** How far the guessed moment of the secondaries may be off, s. */
const WIDE_SLACK_S = 0.1

/**
 * The row of the table that fits. The wanted λ goes from the target of the state left to that of the state arrived at: within the first moments
 * neither is held against the mixture, nor is what it was before.
 */
export function patternOf(
  stretch: Stretch,
  frame: PatternFrame,
  limits: TransientLimits,
): TransientPattern | null {
  const { timeS, lambda, secondaryPct, count } = stretch
  const { was, wideS } = frame
  let leanFromS = Number.NaN
  let richSinceS = Number.NaN
  let richFromS = Number.NaN
  let secondaryS = Number.NaN
  let readings = 0
  let leastOffS = Number.NaN
  let least = Number.isNaN(was) ? Number.POSITIVE_INFINITY : was
  let isAir = Number.isNaN(was)
  for (let i = 0; i < count; i++) {
    const t = timeS[i]
    if (t < 0 || t > limits.watchedS) continue
    if (secondaryPct[i] > limits.secondaryOpenPct && Number.isNaN(secondaryS)) secondaryS = t
    if (Number.isNaN(lambda[i])) continue
    readings++
    const isFirst = t <= limits.atOnceS
    // A jet that is rich hides a thin shot: so far over where it goes and over what it was, it is lean too.
    const over = isFirst
      ? Math.max(
          lambda[i] - frame.firstHighest,
          Math.min(lambda[i] - frame.highest, Number.isNaN(was) ? 0 : lambda[i] - was),
        )
      : lambda[i] - frame.highest
    if (isAir) least = Math.min(least, lambda[i])
    if (over <= limits.lean) isAir = false
    else if (isAir ? t > limits.airS : !isFirst || lambda[i] > least + limits.rises) {
      if (t <= limits.laterS && Number.isNaN(leanFromS)) leanFromS = isAir ? 0 : t
    }
    if ((isFirst ? frame.firstLowest : frame.lowest) - lambda[i] <= limits.rich) {
      // A single reading of a restless λ ends no rich stretch.
      if (Number.isNaN(leastOffS)) leastOffS = t
      if (t - leastOffS >= RICH_BREAK_S) richSinceS = Number.NaN
    } else {
      leastOffS = Number.NaN
      if (Number.isNaN(richSinceS)) richSinceS = t
      else if (t - richSinceS > limits.richLastsS && Number.isNaN(richFromS)) richFromS = richSinceS
    }
  }
  if (readings < 3 || Number.isNaN(frame.highest) || timeS[count - 1] < LEAST_WATCHED_S) return null
  if (Number.isNaN(leanFromS)) return Number.isNaN(richFromS) ? 'clean' : 'rich'
  if (richFromS > leanFromS) return 'lean_then_rich'
  const sinceSecondary = leanFromS - secondaryS
  if (secondaryS > 0.1 && sinceSecondary > -0.05 && sinceSecondary < limits.secondaryS)
    return 'lean_at_secondary'
  if (leanFromS <= limits.atOnceS) return 'lean_at_once'
  return Number.isNaN(secondaryS) && leanFromS >= wideS - WIDE_SLACK_S ? 'lean_at_secondary' : 'lean_later'
}
