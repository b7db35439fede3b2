import type { AdviceResult } from '../contract/advice.ts'
import type { Hint } from '../contract/result.ts'
import type { AdviceEvidence } from './adviceEvidence.ts'
import { circuitOfPart } from './partPaths.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

/** The hint of the trust gate that makes a lean idle doubtful, and the name of its test. */
const LEAK = 'exhaust_leak'
/** Steady driving in idle and in cruise from which a run would have shown the hint, s: as the hint itself asks. */
const TELLING_S = 20

/** What the owner is to look for before the idle circuit is touched. */
export interface LeakLook {
  /** Name of the hint, to say by `checked` that nothing was found. */
  readonly check: string
  readonly text: string
  /** The one test that tells, empty if the hint names none. */
  readonly test: string
}

/**
 * The look for an exhaust leak that belongs before an idle is set richer which reads lean while the newest run hints at one: by λ alone nobody can tell
 * them apart, and a look of minutes can. Nothing waits for it: screws are turned back as easily as they are opened. Undefined once the owner
 * has looked (`checked`), and where the idle parts were changed since a drive without the hint: then the change accounts for the reading.
 */
export function findLeakLook(
  { observed, newest, checked }: Pick<AdviceEvidence, 'observed' | 'newest' | 'checked'>,
  states: AdviceResult['states'],
): LeakLook | undefined {
  const hint = hintOf(newest)
  if (!hint || states.idle?.verdict !== 'lean' || checked.includes(LEAK)) return undefined
  const before = observed.slice(0, -1).findLast(couldTell)
  if (before && !hintOf(before) && !hasSameIdleParts(before, newest)) return undefined
  const text =
    'Look for an exhaust leak first: idle reads lean and steady while cruise is fine, as air that enters before the sensor makes it.'
  return { check: LEAK, text, test: hint.test ?? '' }
}

/** The look in one piece. */
export const lookSentence = ({ text, test }: LeakLook) => (test ? `${text} ${test}` : text)

/** True for a hint that the look has told already. */
export const isLeakHint = ({ code }: Pick<Hint, 'code'>) => code === LEAK

const hintOf = ({ run }: ObservedRun): Hint | undefined => run.result.trust.hints.find(isLeakHint)

const couldTell = ({ seconds }: ObservedRun) =>
  (seconds.idle ?? 0) >= TELLING_S && (seconds.cruise ?? 0) >= TELLING_S

function hasSameIdleParts(a: ObservedRun, b: ObservedRun): boolean {
  const idleOf = ({ fitted }: ObservedRun) =>
    Object.fromEntries(Object.entries(fitted).filter(([part]) => circuitOfPart(part) === 'idle'))
  return isSameFitted(idleOf(a), idleOf(b))
}
