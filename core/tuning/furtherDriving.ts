import type { AdviceState } from './partPaths.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

/** Least driving in one state that is asked for, s. */
export const LEAST_NEEDED_S = 10
/** Drives in a row without a state, after which it is not asked for again: the first went before the asking, the next did not bring it. */
const LACKING_DRIVES = 2
/** A shorter recording is no drive that could have brought every state, s; several such of twice that together are one. Chosen here. */
const LEAST_DRIVE_S = 300
/** Drives with the same parts after which what is known must do. Chosen here. */
const MOST_DRIVES = 3

const secondsOfRun = ({ run }: ObservedRun) => run.result.run.seconds

/** The drives in a row that lacked a state, when they are so many that asking for it once more is of no use; undefined otherwise. */
export function lackingDrives(
  observed: readonly ObservedRun[],
  state: AdviceState,
): readonly ObservedRun[] | undefined {
  const last = observed.filter((entry) => secondsOfRun(entry) >= LEAST_DRIVE_S).slice(-LACKING_DRIVES)
  return last.length === LACKING_DRIVES && last.every((entry) => isLackingIn(entry, state)) ? last : undefined
}

/**
 * True for a drive that brought less of a state than the least that is ever asked for. Of full throttle every pull counts: it is short, and
 * what is not known of it is dangerous.
 */
function isLackingIn({ logLambda, seconds }: ObservedRun, state: AdviceState): boolean {
  return !logLambda[state] || (state !== 'power' && (seconds[state] ?? 0) < LEAST_NEEDED_S)
}

/** True while another drive with today's parts may be asked for on account of a state that was seen. */
export function mayAskAgain(observed: readonly ObservedRun[], state: AdviceState): boolean {
  const newest = observed[observed.length - 1]
  const alike = observed.filter((entry) => isSameFitted(entry.fitted, newest.fitted))
  const whole = alike.filter((entry) => secondsOfRun(entry) >= LEAST_DRIVE_S).length
  const short = alike.reduce((sum, entry) => sum + secondsOfRun(entry), 0) / (2 * LEAST_DRIVE_S)
  return Math.max(whole, short) < MOST_DRIVES && lackingDrives(observed, state) === undefined
}
