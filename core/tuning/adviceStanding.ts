import type { AdviceResult } from '../contract/advice.ts'
import { bandsOf } from './adviceBands.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { describeStates } from './adviceStates.ts'
import { hasLaterValve, opensTooEarly } from './earlyValve.ts'
import { type EnrichmentStep, enrichedShare, findEnrichmentStep, opensWithinPower } from './enrichmentStep.ts'
import { type AdviceState, pathsOf, valveOf } from './partPaths.ts'
import type { Band } from './planCost.ts'
import { learnResponse, type ResponseModel } from './responseModel.ts'
import { extraShiftOf, isSameValve } from './valveEffect.ts'

/** What the runs tell of the car with today's parts. */
export interface AdviceStanding {
  /** Where the enrichment opens, if the mixture shows it. */
  readonly step: EnrichmentStep | undefined
  /** True when a valve is fitted that opens within full load only. */
  readonly isValveLate: boolean
  /** A valve is fitted that opens before part throttle: the box has a later one, or there is nothing for it. */
  readonly earlyValve: 'box_has_later' | 'box_has_none' | undefined
  /** Allowed band of every state, and of those that were seen. */
  readonly bands: ReadonlyMap<AdviceState, Band>
  readonly known: ReadonlyMap<AdviceState, Band>
  readonly model: ResponseModel
  readonly states: AdviceResult['states']
}

/** Learns how the states stand and how they answer to the parts, from all runs together. */
export function judgeStanding({
  observed,
  newest,
  targets,
  settings,
  car,
  box,
}: AdviceEvidence): AdviceStanding {
  const likeToday = observed
    .filter((entry) => isSameValve(entry.fitted, newest.fitted))
    .flatMap((entry) => entry.run.pieces)
  const step = findEnrichmentStep(likeToday, valveOf(newest.fitted) !== undefined)
  const enriched = step ? enrichedShare(likeToday, 'part_throttle', step) : 0
  const isEarly = opensTooEarly(newest.fitted, enriched)
  const hasLater = isEarly && hasLaterValve(newest.fitted, box, car?.circuits)
  const bands = bandsOf(
    targets,
    // Without a later valve at hand nothing else is made lean to make up for it.
    hasLater ? 0 : enriched,
    newest.run.result.map.load_channel === 'throttle',
  )
  const isValveLate =
    step !== undefined && valveOf(newest.fitted) !== undefined && opensWithinPower(likeToday, step)
  const model = learnResponse(observed, pathsOf(newest.fitted, car?.circuits), {
    ...settings,
    extraShift: (state, fitted) => extraShiftOf(state, fitted, newest, step),
  })
  const known = new Map([...bands].filter(([state]) => model.forecast(state, newest.fitted)))
  const earlyValve = isEarly ? (hasLater ? 'box_has_later' : 'box_has_none') : undefined
  return {
    step,
    isValveLate,
    earlyValve,
    bands,
    known,
    model,
    states: describeStates(model, known, observed),
  }
}
