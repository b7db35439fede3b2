import type { ComparisonResult, Difference } from '../../../core/contract/advice.ts'
import type { Air } from '../../../core/contract/car.ts'
import type { AnalysisResult, MixtureState } from '../../../core/contract/result.ts'
import type { TipInSummary } from '../../../core/tuning/compareSideBySide.ts'
import type { DifferenceMap } from '../../../core/tuning/differenceMap.ts'
import { MINUS } from '../../../core/units/format.ts'
import { type MixtureUnit, mixtureStepText } from '../../words/mixtureUnit.ts'

/** Fields of a comparison that its contract leaves open. */
export interface ComparisonMore {
  text: string
  air: {
    reference: Air
    a: Partial<Air> & { source: string }
    b: Partial<Air> & { source: string }
    lambda_factor_a: number
    lambda_factor_b: number
  }
  map: DifferenceMap
  warm_up: { self_idle_s_difference: number | null }
  pulls: { peak_kW_difference: number | null }
  economy: { a: number | null; b: number | null; difference: number | null }
}
export interface TransientsMore {
  a: TipInSummary
  b: TipInSummary
  lean_peak_difference: number | null
  stumble_share_p: number | null
}
export const more = (result: ComparisonResult) => result as unknown as ComparisonResult & ComparisonMore

const verdictHeadlines: Readonly<Record<ComparisonResult['verdict'], string>> = {
  richer: 'The second run is richer',
  leaner: 'The second run is leaner',
  mixed: 'The second run is richer in some states and leaner in others',
  no_difference: 'No difference',
  not_enough_data: 'Cannot tell',
}

/** Whether the second run is better: what comes next depends on it. Of two cars, and of too little driving, nobody can say. */
export type Outcome = 'better' | 'worse' | 'both' | 'neither' | 'unknown'

export function outcomeOf(
  { verdict, states }: ComparisonResult,
  a: AnalysisResult,
  b: AnalysisResult,
): Outcome {
  if (verdict === 'not_enough_data') return 'unknown'
  const helped = new Set<string>()
  for (const [state, entry] of Object.entries(states)) {
    if (entry.verdict !== 'richer' && entry.verdict !== 'leaner') continue
    const name = state as MixtureState
    helped.add(betterWorse(a.mixture[name]?.error, b.mixture[name]?.error, entry.verdict))
  }
  const isBetter = helped.has('better')
  const isWorse = helped.has('worse')
  if (isBetter === isWorse) return isBetter ? 'both' : 'neither'
  return isBetter ? 'better' : 'worse'
}

/** The answer first: whether it helped, then what changed. Of two cars neither is a change of the other. */
export function headlineOf(
  result: ComparisonResult,
  a: AnalysisResult,
  b: AnalysisResult,
  isTwoCars = false,
): string {
  const what = verdictHeadlines[result.verdict]
  if (isTwoCars) return what.replace('run', 'car')
  const lead = leads[outcomeOf(result, a, b)]
  return lead ? `${lead}: ${lower(what)}` : what
}
const leads: Readonly<Partial<Record<Outcome, string>>> = {
  better: 'Better',
  worse: 'Worse',
  both: 'Better here, worse there',
}
const lower = (text: string) => text[0].toLowerCase() + text.slice(1)

const differenceWords: Readonly<Record<Difference, string>> = {
  richer: 'richer',
  leaner: 'leaner',
  no_difference: 'no difference',
  not_enough_data: 'not enough data',
}

type Compared = NonNullable<ComparisonResult['states'][MixtureState]> & { lambda_a?: number | null }

/** `richer 0.041`, `no difference`: the figure that the sentence above gives. */
export function stateVerdict({ verdict, difference, lambda_a }: Compared, mixture: MixtureUnit): string {
  return (verdict === 'richer' || verdict === 'leaner') && difference !== null
    ? `${verdict} ${mixtureStepText(difference, mixture, { finer: 1, from: lambda_a ?? 1 }).replace(MINUS, '')}`
    : differenceWords[verdict]
}

/** The same for two cars, each measured against its own target. */
export const besideWords: Readonly<Record<string, string>> = {
  better: 'closer to its target',
  worse: 'farther from its target',
  'as before': 'as close to its target',
}

/** Did it help: distances from target before and after, per state. */
export function betterWorse(
  errorA: number | null | undefined,
  errorB: number | null | undefined,
  verdict: Difference,
): string {
  if (verdict === 'not_enough_data' || errorA == null || errorB == null) return 'cannot tell'
  if (verdict === 'no_difference') return 'as before'
  const gain = Math.abs(errorA) - Math.abs(errorB)
  return gain > 0.003 ? 'better' : gain < -0.003 ? 'worse' : 'as far off, on the other side'
}
