import type { AnalysisResult } from '../../core/contract/result.ts'
import { NARROW_SPACE } from '../../core/units/format.ts'

type Missing = AnalysisResult['missing']

/** What a drive is to contain that happens at a load: without throttle and manifold pressure nobody knows when. */
const loadItems: ReadonlySet<string> = new Set(['cruise', 'tip_in_cruise', 'tip_in_idle', 'pull'])

const NO_SPEED = 'engine speed'
const NO_LOAD = 'throttle or manifold pressure'

/** The channel without which no circuit can be told from another; empty when the board sends it. */
export function lackOfStates(missing: Missing): string {
  return missing.some(({ channel }) => channel === 'engine_speed') ? NO_SPEED : ''
}

const lacksLoad = (missing: Missing) =>
  ['throttle', 'manifold_pressure'].every((wanted) => missing.some(({ channel }) => channel === wanted))

/** What the board must send before this item of the test drive can be counted, however much is driven; empty when nothing lacks. */
export function lackOfItem(item: string, missing: Missing): string {
  const isLoadLacking = loadItems.has(item) && lacksLoad(missing)
  return [lackOfStates(missing), isLoadLacking ? NO_LOAD : ''].filter(Boolean).join(' and ')
}

const untrustedWords: Readonly<Record<string, string>> = {
  warming: 'sensor warming',
  fault: 'sensor fault',
  overrun: 'overrun',
  delay_edge: 'just after a change of load',
  gap: 'no reading',
}

/** `sensor warming 11 s, overrun 63 s`: for how long the mixture was not believed, and why; under half a second is not told. */
export function untrustedText(untrustedS: Readonly<Record<string, number>>): string {
  return Object.entries(untrustedS)
    .filter(([, seconds]) => seconds >= 0.5)
    .map(
      ([reason, seconds]) =>
        `${untrustedWords[reason] ?? reason.replaceAll('_', ' ')} ${Math.round(seconds)}${NARROW_SPACE}s`,
    )
    .join(', ')
}
