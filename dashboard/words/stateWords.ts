import type { LiveAlarm } from '../../core/contract/live.ts'
import type { AlarmPriority, CoverageItem, OperatingState } from '../../core/contract/result.ts'

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

/** Verb first, then the reason. Codes are the pipeline's; an unknown one is spelled out. */
const alarmWords: Readonly<Record<string, readonly [string, string]>> = {
  lean_under_load: ['LIFT OFF', 'lean under load'],
  exhaust_hot: ['LIFT OFF', 'exhaust too hot'],
  coolant_hot: ['STOP SOON', 'engine too hot'],
  oil_pressure_low: ['STOP ENGINE', 'oil pressure low'],
  fuel_pressure_low: ['LIFT OFF', 'fuel pressure low'],
  supply_low: ['CHECK CHARGING', 'supply voltage low'],
  supply_high: ['CHECK CHARGING', 'supply voltage high'],
  fuel_pressure_high: ['CHECK FUEL', 'fuel pressure high'],
  no_samples: ['CHECK CABLE', 'no samples'],
  sensor_fault: ['CHECK SENSOR', 'the board reports a fault'],
  lean_in_power: ['NOTE LEAN', 'power, out of its band'],
  rich_in_power: ['NOTE RICH', 'power, out of its band'],
  lean_in_cruise: ['NOTE LEAN', 'cruise, out of its band'],
  rich_in_cruise: ['NOTE RICH', 'cruise, out of its band'],
  disk_nearly_full: ['FREE DISK', 'nearly full'],
  board_clock_drift: ['NOTE CLOCK', 'board clock drifts'],
}

export function alarmText(code: string): { verb: string; reason: string } {
  const known = alarmWords[code]
  if (known) return { verb: known[0], reason: known[1] }
  const spelled = code.replaceAll('_', ' ')
  return { verb: 'CHECK', reason: spelled }
}

/** What an alarm's worst value is a value of, for the record line. */
const worstQuantity: Readonly<Record<string, 'lambda' | 'temperature' | 'pressure' | 'voltage' | 'seconds'>> =
  {
    lean_under_load: 'lambda',
    lean_in_power: 'lambda',
    rich_in_power: 'lambda',
    lean_in_cruise: 'lambda',
    rich_in_cruise: 'lambda',
    exhaust_hot: 'temperature',
    coolant_hot: 'temperature',
    oil_pressure_low: 'pressure',
    fuel_pressure_low: 'pressure',
    supply_low: 'voltage',
    supply_high: 'voltage',
    fuel_pressure_high: 'pressure',
    no_samples: 'seconds',
  }

export function alarmQuantity(code: string): string | undefined {
  return worstQuantity[code]
}

export const priorityWords: Readonly<Record<AlarmPriority, string>> = {
  warning: 'warning',
  caution: 'caution',
  advisory: 'advisory',
}

/** `left bank` for two sensors, empty for one. */
export function bankText(
  alarm: Pick<LiveAlarm, 'bank'>,
  names: readonly string[],
  bankCount: number,
): string {
  return bankCount > 1 && alarm.bank ? (names[alarm.bank - 1] ?? `bank ${alarm.bank}`) : ''
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

/** `cruise 30/90 s`: the entry of the state, the incomplete one first; empty when there is none. */
export function coverageText(coverage: readonly CoverageItem[], state: OperatingState): string {
  const wanted = coverageOf[state] ?? []
  const fitting = coverage.filter((item) => wanted.some((name) => item.item.startsWith(name)))
  const item = fitting.find(({ have, want }) => have < want) ?? fitting[0]
  if (!item) return ''
  const unit = item.unit ? ` ${item.unit}` : ''
  return `${item.item.replaceAll('_', ' ')} ${Math.floor(item.have)}/${Math.round(item.want)}${unit}`
}
