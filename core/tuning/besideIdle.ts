import { chooseStep, type Step } from './chooseStep.ts'
import { isIdlePart } from './leakDoubt.ts'
import type { AdviceState } from './partPaths.ts'
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

/**
 * The steps that can be taken while nobody knows whether idle reads true. The idle circuit feeds cruise as well: what it would put right there is
 * not put right by a jet meanwhile, and a jet that the whole plan changes gets the size that it has there.
 */
export function besideIdle(
  model: ResponseModel,
  known: ReadonlyMap<AdviceState, Band>,
  choices: Choices,
  observed: readonly ObservedRun[],
  whole: Step,
): BesideIdle {
  const waiting = whole.changes.filter(({ part }) => isIdlePart(part))
  const others = whole.changes.filter(({ part }) => !isIdlePart(part))
  const byOthers = new Set(others.flatMap(({ madeFor }) => madeFor))
  const byIdle = new Set(waiting.flatMap(({ madeFor }) => madeFor).filter((state) => !byOthers.has(state)))
  const judged = new Map([...known].filter(([state]) => state !== 'idle' && !byIdle.has(state)))
  const movable = new Map([...choices].filter(([part]) => !isIdlePart(part)))
  const alone = chooseStep(model, judged, movable, observed)
  const isPlanned = ({ part }: { part: string }) => others.some((change) => change.part === part)
  // What is done first must be sure by itself, and wanted in the whole plan too.
  const isMeant = waiting.length === 0 || alone.changes.slice(0, 1).every(isPlanned)
  const changes = isMeant
    ? alone.changes
        .filter((change) => waiting.length === 0 || isPlanned(change))
        .map((change) => (waiting.length === 0 ? change : { ...change, to: whole.plan.fitted[change.part] }))
    : []
  return { chosen: { ...alone, changes }, judged, waiting }
}
