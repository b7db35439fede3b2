import type { Circuit } from '../../core/contract/car.ts'
import type { AnalysisResult } from '../../core/contract/result.ts'
import { NARROW_SPACE } from '../../core/units/format.ts'

type Missing = AnalysisResult['missing']

/** Circuits that rule at a load of their own: without throttle and manifold pressure nobody knows when. */
const loadCircuits: ReadonlySet<string> = new Set<Circuit>(['transfer', 'main', 'power', 'secondary', 'pump'])
/** The same of what a drive is to contain. */
const loadItems: ReadonlySet<string> = new Set(['cruise', 'tip_in_cruise', 'tip_in_idle', 'pull'])

const NO_SPEED = 'engine speed'
const NO_LOAD = 'throttle or manifold pressure'

/** The channel without which no circuit can be told from another; empty when the board sends it. */
export function lackOfStates(missing: Missing): string {
  return missing.some(({ channel }) => channel === 'engine_speed') ? NO_SPEED : ''
}

const lacksLoad = (missing: Missing) =>
  ['throttle', 'manifold_pressure'].every((wanted) => missing.some(({ channel }) => channel === wanted))

const lack = (isOfLoad: boolean, missing: Missing) =>
  [lackOfStates(missing), isOfLoad && lacksLoad(missing) ? NO_LOAD : ''].filter(Boolean).join(' and ')

/** What the board must send before this circuit can be judged, however much is driven; empty when nothing lacks. */
export function lackOfCircuit(circuit: Circuit, missing: Missing): string {
  return lack(loadCircuits.has(circuit), missing)
}

/** The same of an item of the test drive. */
export function lackOfItem(item: string, missing: Missing): string {
  return lack(loadItems.has(item), missing)
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
