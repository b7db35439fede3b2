import type { AdviceResult, Change } from '../contract/advice.ts'
import type { Hint } from '../contract/result.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { circuitOfPart } from './partPaths.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

/** The hint of the trust gate that makes a lean idle doubtful, and the name of its test. */
const LEAK = 'exhaust_leak'
/** Steady driving in idle and in cruise from which a run would have shown the hint, s: as the hint itself asks. */
const TELLING_S = 20
/** Idling that tells whether a mended leak was the cause, s. Chosen here. */
const IDLE_AFTER_S = 30

/** Why the idle circuit is left alone for now: what its owner is to look for, in a sentence, and the need of the advice. */
export interface LeakDoubt {
  readonly sentence: string
  readonly need: NonNullable<AdviceResult['needs']>[number]
}

/**
 * A doubt of an idle that reads lean while the newest run hints at an exhaust leak: by λ alone nobody can tell one from the other, and one look can.
 * Undefined once the owner has looked (`checked`), or drove on: the question is asked once, after the first drive that shows the hint, so that an
 * idle that is simply lean costs a look and is never blocked. Nor is it asked where the idle parts were changed since the drive before: then the
 * change accounts for the reading.
 */
export function findLeakDoubt(
  { observed, newest, checked }: Pick<AdviceEvidence, 'observed' | 'newest' | 'checked'>,
  states: AdviceResult['states'],
): LeakDoubt | undefined {
  const hint = hintOf(newest)
  if (!hint || states.idle?.verdict !== 'lean' || checked.includes(LEAK)) return undefined
  const before = observed.slice(0, -1).findLast(couldTell)
  if (before && (hintOf(before) || !hasSameIdleParts(before, newest))) return undefined
  const why =
    'look for an exhaust leak first: idle reads lean and steady while cruise is fine, as air that enters before the sensor makes it'
  const test = hint.test ?? ''
  return {
    sentence: `${why[0].toUpperCase()}${why.slice(1)}.${test ? ` ${test}` : ''}`,
    need: { state: 'idle', seconds: IDLE_AFTER_S, check: LEAK, why, ...(test ? { test } : {}) },
  }
}

/** A change that waits for the look: of the idle circuit itself, or one that comes after it. */
export function waitingForLook(change: Change): Change {
  const why =
    isIdlePart(change.part) || change.circuit === 'idle'
      ? 'To be made if no leak is found.'
      : 'To be judged again after that.'
  return { ...change, later: true, waits_for: LEAK, because: [...change.because, why] }
}

/** True for a part whose size moves idle before all else. */
export const isIdlePart = (part: string) => circuitOfPart(part) === 'idle'

/** True for a hint that the doubt has told already. */
export const isLeakHint = ({ code }: Pick<Hint, 'code'>) => code === LEAK

const hintOf = ({ run }: ObservedRun): Hint | undefined => run.result.trust.hints.find(isLeakHint)

const couldTell = ({ seconds }: ObservedRun) =>
  (seconds.idle ?? 0) >= TELLING_S && (seconds.cruise ?? 0) >= TELLING_S

function hasSameIdleParts(a: ObservedRun, b: ObservedRun): boolean {
  const idleOf = ({ fitted }: ObservedRun) =>
    Object.fromEntries(Object.entries(fitted).filter(([part]) => isIdlePart(part)))
  return isSameFitted(idleOf(a), idleOf(b))
}
