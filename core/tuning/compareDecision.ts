import type { RowPattern } from './changePattern.ts'
import { studentQuantile, studentTail } from './distributions.ts'
import { fitLevels } from './levelFit.ts'
import { addShift } from './levelShift.ts'
import { type LevelSet, type StateLevels, smallSample } from './stateLevels.ts'

/** One state's difference between two runs, B − A in log λ. */
export interface StateDifference {
  readonly level: StateLevels
  readonly difference: number
  readonly samplingSe: number
  /** With what the day adds. */
  readonly se: number
  readonly freedom: number
  /** Two-sided tail share of the difference if there were none. */
  readonly tail: number
}

/** What the states together say. */
export interface Decision {
  readonly isDifferent: boolean
  /** Which way the pattern moved the driving as a whole: log λ, with its standard error. */
  readonly shift: number
  readonly se: number
  /** True when parts of the driving are expected to move to either side. */
  readonly isMixed: boolean
}

/** Most swaps move all running states the same way: so much of the false alarms allowed is spent on that. Chosen here. */
const SHARE_FOR_PATTERN = 0.6
/** The same when the records say which part was changed, and so where to look. Chosen here. */
const SHARE_FOR_KNOWN_CHANGE = 0.85
/** Share of the day's variance that moves all states alike (air, fuel); the rest is each state's own (sensor's curve). Common practice, no source. */
const COMMON_DAY = 0.7

/**
 * One decision for all states together: a shift along a pattern over all rows of driving, or any one state, sharing the false alarms
 * allowed. The pattern is fitted to all rows at once, so that driving which the change leaves alone tells what is the day's.
 */
export function decideDifference(
  set: LevelSet,
  judged: readonly StateDifference[],
  daySd: number,
  falseAlarmShare: number,
  pattern: RowPattern,
): Decision {
  if (judged.length === 0) return { isDifferent: false, shift: 0, se: Number.NaN, isMixed: false }
  const { rows, scatter, design } = set
  const weights = rows.map((row, i) => (row.run === 1 ? row.seconds * pattern.ofRow[i] : 0))
  const sumOf = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0)
  const up = sumOf(weights.map((value) => Math.max(0, value)))
  const down = -sumOf(weights.map((value) => Math.min(0, value)))
  const shifted = addShift(
    design,
    rows,
    pattern.ofRow,
    daySd * Math.sqrt(COMMON_DAY),
    daySd * Math.sqrt(1 - COMMON_DAY),
  )
  const fit = fitLevels(rows, shifted, scatter)
  const unit = new Float64Array(shifted.columns)
  unit[shifted.columns - 1] = 1
  const variance = fit.covarianceTimes(unit)[shifted.columns - 1]
  const isFound = up + down > 0 && variance < LARGEST_VARIANCE
  // Both runs have about half of the independent values behind the shift; what the day adds is assumed known.
  const independent = (4 * set.variance) / Math.max(variance - daySd * daySd, 0.1 * variance)
  const se = Math.sqrt(variance) * smallSample(independent / 2)
  const forPattern = isFound
    ? falseAlarmShare * (pattern.isKnown ? SHARE_FOR_KNOWN_CHANGE : SHARE_FOR_PATTERN)
    : 0
  const each = 1 - (1 - (falseAlarmShare - forPattern)) ** (1 / judged.length)
  const shift = fit.estimate[shifted.columns - 1]
  const isDifferent =
    judged.some((entry) => entry.tail < each) ||
    (isFound &&
      Math.abs(shift) > studentQuantile(1 - forPattern / 2, Math.max(LEAST_FREEDOM, independent)) * se)
  return {
    isDifferent,
    shift: up >= down ? shift : -shift,
    se,
    isMixed: Math.min(up, down) > MIXED_SHARE * (up + down),
  }
}

/** Variance of a pattern's shift above which there is no such driving in both runs. */
const LARGEST_VARIANCE = 1
const LEAST_FREEDOM = 6
/** Share of the expected movement on the other side from which a change counts as mixed. Chosen here. */
const MIXED_SHARE = 0.2

/** A state's difference, judged; undefined when its interval is so wide that it could hide a jet size twice over. */
export function judgeState(
  level: StateLevels,
  daySd: number,
  leastSeconds: number,
  widestShare: number,
): StateDifference | undefined {
  if (level.seconds[0] < leastSeconds || level.seconds[1] < leastSeconds) return undefined
  const { difference, se: samplingSe, freedom } = level.contrast(0, 1)
  const se = Math.hypot(samplingSe, daySd)
  // Only the sampling part is estimated from few rows; what the day adds is assumed known.
  const blended = freedom * (se / Math.max(samplingSe, 1e-9)) ** 4
  const usable = Math.max(4, Math.min(blended, 1e6))
  if (!(studentQuantile(0.975, usable) * se <= widestShare)) return undefined
  return { level, difference, samplingSe, se, freedom: usable, tail: studentTail(difference / se, usable) }
}
