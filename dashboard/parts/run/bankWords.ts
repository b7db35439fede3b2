import type { AnalysisResult, MixtureState } from '../../../core/contract/result.ts'
import { type MixtureUnit, mixtureText } from '../../words/mixtureUnit.ts'
import { stateWords } from '../../words/stateWords.ts'

/** Banks that differ by more than this are worth a look at screws, valves and leaks, λ. Common practice, no source. */
const apartLambda = 0.03
/** Seconds of a state in each bank from which they are set side by side. Chosen here. */
const leastS = 10

export interface BankLine {
  state: MixtureState
  /** `cruise`. */
  name: string
  /** Of the first and of the second bank, in the chosen unit. */
  values: [string, string]
  isApart: boolean
}

/** Both banks of a run with two sensors, state by state; empty with one sensor. */
export function bankLines(
  { mixture, mixture_2 }: Pick<AnalysisResult, 'mixture' | 'mixture_2'>,
  unit: MixtureUnit,
): BankLine[] {
  if (!mixture_2) return []
  const lines: BankLine[] = []
  for (const state of ['idle', 'cruise', 'part_throttle', 'power'] as const) {
    const first = mixture[state]
    const second = mixture_2[state]
    if (!first || !second || first.seconds < leastS || second.seconds < leastS) continue
    if (first.lambda_median === null || second.lambda_median === null) continue
    lines.push({
      state,
      name: stateWords[state],
      values: [mixtureText(first.lambda_median, unit), mixtureText(second.lambda_median, unit)],
      isApart: Math.abs(first.lambda_median - second.lambda_median) > apartLambda,
    })
  }
  return lines
}
