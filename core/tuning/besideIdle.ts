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

/** Circuits whose states the idle circuit hardly feeds: what is off there, lean power above all, does not wait. */
const APART_FROM_IDLE: readonly (string | undefined)[] = ['power', 'secondary']

/**
 * The steps that can be taken while nobody knows whether idle reads true. The idle circuit feeds cruise as well, and idle comes before main: a main
 * jet chosen beside a doubtful idle is chosen twice, while the look takes minutes. So main waits with it where the whole plan changes both; what the idle
 * circuit has no part in goes on, with the size of the whole plan.
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
  const isApart = (part: string) => APART_FROM_IDLE.includes(circuitOfPart(part))
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
