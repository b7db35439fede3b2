import { chooseStep, type Step } from './chooseStep.ts'
import { isIdlePart } from './leakDoubt.ts'
import { type AdviceState, circuitOfPart } from './partPaths.ts'
import type { Choices } from './planChanges.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import type { ObservedRun } from './runObservations.ts'

/** What may be done while the idle circuit waits, and what waits. */
export interface BesideIdle {
  readonly chosen: Step
  /** States that may be judged meanwhile. */
  readonly judged: ReadonlyMap<AdviceState, Band>
  readonly waiting: Step['changes']
}

/** Circuits that put a lean power right. */
const OF_POWER: readonly (string | undefined)[] = ['power', 'secondary']

/**
 * The steps that can be taken while nobody knows whether idle reads true. Idle feeds cruise, and main feeds power: what is chosen out of the order of
 * the trade is chosen twice, while the look takes minutes. So where the whole plan changes idle, the others are judged and wait with it; lean power alone
 * does not, since it destroys pistons.
 */
export function besideIdle(
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  observed: readonly ObservedRun[],
  whole: Step,
): BesideIdle {
  const withoutIdle = new Map([...known].filter(([state]) => state !== 'idle'))
  if (!whole.changes.some(({ part }) => isIdlePart(part))) {
    const movable = new Map([...choices].filter(([part]) => !isIdlePart(part)))
    return { chosen: chooseStep(model, withoutIdle, movable, observed), judged: withoutIdle, waiting: [] }
  }
  const now = model.forecast('power', model.base)
  const isLean = now !== undefined && now.mean > (known.get('power')?.high ?? Number.POSITIVE_INFINITY)
  const isApart = (part: string) => isLean && OF_POWER.includes(circuitOfPart(part))
  const apart = whole.changes.filter(({ part }) => isApart(part))
  const waiting = whole.changes.filter(({ part }) => !isApart(part))
  const mendedApart = new Set(apart.flatMap(({ madeFor }) => madeFor))
  const mendedLater = waiting.flatMap(({ madeFor }) => madeFor).filter((state) => !mendedApart.has(state))
  const judged = new Map([...withoutIdle].filter(([state]) => !mendedLater.includes(state)))
  const movable = new Map([...choices].filter(([part]) => isApart(part)))
  const alone = chooseStep(model, judged, movable, observed)
  // What is done now must be sure by itself, and wanted in the whole plan too.
  const isPlanned = ({ part }: { part: string }) => apart.some((change) => change.part === part)
  const changes = alone.changes.slice(0, 1).every(isPlanned)
    ? alone.changes.filter(isPlanned).map((change) => ({ ...change, to: whole.plan.fitted[change.part] }))
    : []
  return { chosen: { ...alone, changes }, judged, waiting }
}
