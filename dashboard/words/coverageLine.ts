import type { AnalysisResult, CoverageItem } from '../../core/contract/result.ts'
import { NARROW_SPACE } from '../../core/units/format.ts'
import { lackOfItem } from './lackWords.ts'
import { coverageWords, num } from './runWords.ts'

export interface CoverageLine {
  item: string
  isEnough: boolean
  name: string
  /** `169 s`, `79 of 90 s`; empty when it cannot be counted. */
  have: string
  /** `11 s more`, or the channel that it takes. */
  rest: string
}

/** One line of what the drive covered. */
export function coverageLine(
  { item, have, want, unit }: CoverageItem,
  missing: AnalysisResult['missing'],
): CoverageLine {
  const isEnough = have >= want
  const seconds = unit ? `${NARROW_SPACE}${unit}` : ''
  const lack = isEnough ? '' : lackOfItem(item, missing)
  return {
    item,
    isEnough,
    name: coverageWords[item] ?? item.replaceAll('_', ' '),
    have: lack
      ? ''
      : isEnough
        ? `${num(Math.floor(have), 0)}${seconds}`
        : `${num(Math.floor(have), 0)} of ${num(want, 0)}${seconds}`,
    rest: isEnough ? '' : lack ? `needs ${lack}` : `${num(Math.ceil(want - have), 0)}${seconds} more`,
  }
}
