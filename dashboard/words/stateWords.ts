import type { CoverageItem, OperatingState } from '../../core/contract/result.ts'

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

/** Items whose own name is not the state's. */
const itemWords: Readonly<Record<string, string>> = {
  tip_in_cruise: 'cruise tip-ins',
  tip_in_idle: 'idle tip-ins',
  pull: 'pulls',
  overrun: 'overruns',
}

/** `cruise 30/90 s`: the entry of the state, the incomplete one first; empty when there is none. */
export function coverageText(coverage: readonly CoverageItem[], state: OperatingState): string {
  const wanted = coverageOf[state] ?? []
  const fitting = coverage.filter((item) => wanted.some((name) => item.item.startsWith(name)))
  const item = fitting.find(({ have, want }) => have < want) ?? fitting[0]
  if (!item) return ''
  const unit = item.unit ? ` ${item.unit}` : ''
  return `${itemWords[item.item] ?? item.item.replaceAll('_', ' ')} ${Math.floor(item.have)}/${Math.round(item.want)}${unit}`
}
