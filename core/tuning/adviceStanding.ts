import type { AdviceResult } from '../contract/advice.ts'
import { bandsOf } from './adviceBands.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { describeStates } from './adviceStates.ts'
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
  /** Allowed band of every state, and of those that were seen. */
  readonly bands: ReadonlyMap<AdviceState, Band>
  readonly known: ReadonlyMap<AdviceState, Band>
  readonly model: ResponseModel
  readonly states: AdviceResult['states']
}

/** Learns how the states stand and how they answer to the parts, from all runs together. */
export function judgeStanding({ observed, newest, targets, settings, car }: AdviceEvidence): AdviceStanding {
  const likeToday = observed
    .filter((entry) => isSameValve(entry.fitted, newest.fitted))
    .flatMap((entry) => entry.run.pieces)
  const step = findEnrichmentStep(likeToday, valveOf(newest.fitted) !== undefined)
  const bands = bandsOf(
    targets,
    step ? enrichedShare(likeToday, 'part_throttle', step) : 0,
    newest.run.result.map.load_channel === 'throttle',
  )
  const isValveLate =
    step !== undefined && valveOf(newest.fitted) !== undefined && opensWithinPower(likeToday, step)
  const model = learnResponse(observed, pathsOf(newest.fitted, car?.circuits), {
    ...settings,
    extraShift: (state, fitted) => extraShiftOf(state, fitted, newest, step),
  })
  const known = new Map([...bands].filter(([state]) => model.forecast(state, newest.fitted)))
  return { step, isValveLate, bands, known, model, states: describeStates(model, known, observed) }
}
