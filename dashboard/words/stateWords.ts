import type { LiveReading } from '../../core/contract/live.ts'
import type { CoverageItem, OperatingState } from '../../core/contract/result.ts'
import { NOTHING_JUDGED } from '../../core/tuning/steadyPieces.ts'
import { NO_VALUE } from '../../core/units/format.ts'

/** Operating states as the page names them, the same word everywhere. */
export const stateWords: Readonly<Record<OperatingState, string>> = {
  off: 'off',
  cranking: 'cranking',
  warm_up: 'warm-up',
  idle: 'idle',
  cruise: 'cruise',
  part_throttle: 'part throttle',
  power: 'power',
  overrun: 'overrun',
  tip_in: 'tip-in',
  tip_out: 'tip-out',
  running: 'running',
}

/** Engines turn faster than this or not at all, rpm. */
const standingRpm = 1

/** False in the first moment, in which nothing but a standing engine can be told. */
export function isStateKnown({ steadyWhyNot, engineSpeedRpm }: LiveReading): boolean {
  return steadyWhyNot !== NOTHING_JUDGED || engineSpeedRpm < standingRpm
}

/** The operating state in words; `–` while it is not known. */
export function stateText(reading: LiveReading): string {
  return isStateKnown(reading) ? stateWords[reading.state] : NO_VALUE
}

/** What counts toward coverage, and why it does not; while warming, whether the engine idles by itself. */
export function drivingLine(reading: LiveReading): string {
  if (!isStateKnown(reading)) return ''
  const { state, warmUp, coverage, steady, steadyWhyNot } = reading
  if (state === 'warm_up' && warmUp) {
    const stalls =
      warmUp.stalls === 0 ? '' : ` · ${warmUp.stalls} ${warmUp.stalls === 1 ? 'stall' : 'stalls'}`
    return `${warmUp.selfIdles ? 'idles by itself' : 'not yet idling by itself'}${stalls}`
  }
  const covered = coverageText(coverage, state)
  // In overrun the reason is the state itself, which is said above.
  if (steady || !steadyWhyNot || steadyWhyNot === stateWords[state]) return covered
  return [covered, steadyWhyNot].filter(Boolean).join(' · ')
}

/** Faults that a board reports, in words of what to look at. */
const faultWords: Readonly<Record<string, string>> = {
  heater_open: 'heater wire open',
  heater_short: 'heater wire shorted',
  cell_open: 'sensor wire open',
  cell_short: 'sensor wire shorted',
  supply_low: 'supply voltage low',
}

export function faultText(code: string | undefined): string {
  if (!code) return 'the board reports a fault'
  return faultWords[code] ?? code.replaceAll('_', ' ')
}

/** Coverage entries that a state feeds, most particular first. */
const coverageOf: Readonly<Partial<Record<OperatingState, readonly string[]>>> = {
  idle: ['idle'],
  cruise: ['cruise'],
  part_throttle: ['part_throttle', 'tip_in'],
  power: ['pull', 'power'],
  overrun: ['overrun'],
  tip_in: ['tip_in'],
  warm_up: ['warm_up'],
}

/** Items of the test drive, as the slat has room for them, where their own name does not do. */
const itemWords: Readonly<Record<string, string>> = {
  tip_in_cruise: 'cruise tip-ins',
  tip_in_idle: 'idle tip-ins',
  pull: 'pulls',
  overrun: 'overruns',
}

/** `cruise tip-ins`: an item of the test drive in few words. */
export const itemText = (item: string) => itemWords[item] ?? item.replaceAll('_', ' ')

/** `cruise 30/90 s`: the entry of the state, the incomplete one first; empty when there is none. */
function coverageText(coverage: readonly CoverageItem[], state: OperatingState): string {
  const wanted = coverageOf[state] ?? []
  const fitting = coverage.filter((item) => wanted.some((name) => item.item.startsWith(name)))
  const item = fitting.find(({ have, want }) => have < want) ?? fitting[0]
  if (!item) return ''
  const unit = item.unit ? ` ${item.unit}` : ''
  return `${itemText(item.item)} ${Math.floor(item.have)}/${Math.round(item.want)}${unit}`
}
