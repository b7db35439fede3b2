import type { AlarmCode } from '../../core/contract/alarmKinds.ts'
import type { LiveAlarm } from '../../core/contract/live.ts'
import { formatNumber, NARROW_SPACE } from '../../core/units/format.ts'
import type { UnitId } from '../../core/units/unitTable.ts'
import { type MixtureUnit, mixtureWithUnit } from './mixtureUnit.ts'
import { itemText } from './stateWords.ts'
import { decimalMark, shownValue, type UnitChoices, unitFor } from './units.ts'

/** Verb first, then the reason. Codes are the pipeline's and the bridge's; an unknown one is spelled out. */
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
  lean_in_power: ['NOTE MIXTURE', 'lean in power'],
  rich_in_power: ['NOTE MIXTURE', 'rich in power'],
  lean_in_cruise: ['NOTE MIXTURE', 'lean in cruise'],
  rich_in_cruise: ['NOTE MIXTURE', 'rich in cruise'],
  disk_nearly_full: ['FREE SPACE', 'disk nearly full'],
  board_clock_drift: ['NOTE CLOCK', 'board clock drifts'],
} satisfies Readonly<Record<AlarmCode, readonly [string, string]>>
/** What keeps all samples away: the bridge refuses this screen, or is not reached. */
export type LinkCut = 'not_paired' | 'away'

/** Without a link to the bridge nobody knows of the cable behind it. */
const cutWords: Readonly<Record<LinkCut, readonly [string, string]>> = {
  not_paired: ['PAIR AGAIN', 'this screen is no longer paired'],
  away: ['CHECK LINK', 'network lost or bridge stopped'],
}
/** What follows the colon is the item of the coverage. */
const covered = 'covered:'

export const coveredCode = (item: string) => `${covered}${item}`

export function alarmText(code: string, cut?: LinkCut): { verb: string; reason: string } {
  const known = cut && code === 'no_samples' ? cutWords[cut] : alarmWords[code]
  if (known) return { verb: known[0], reason: known[1] }
  if (code.startsWith(covered))
    return { verb: 'COVERED', reason: `${itemText(code.slice(covered.length))} covered` }
  return { verb: 'CHECK', reason: code.replaceAll('_', ' ') }
}

/** What stands after "was" once an alarm is over, where its reason does not do: the tile is narrow, and the worst value's unit tells the rest. */
const recordNames: Readonly<Record<string, string>> = {
  exhaust_hot: 'exhaust hot',
  coolant_hot: 'engine hot',
  oil_pressure_low: 'oil low',
  fuel_pressure_low: 'fuel low',
  fuel_pressure_high: 'fuel high',
  supply_low: 'supply low',
  supply_high: 'supply high',
  disk_nearly_full: 'disk low',
  no_samples: 'silent',
  sensor_fault: 'sensor fault',
  board_clock_drift: 'clock drift',
}

export const recordName = (code: string) => recordNames[code] ?? alarmText(code).reason

export type AlarmQuantity = 'lambda' | 'temperature' | 'pressure' | 'voltage' | 'seconds' | 'bytes' | 'share'

/** What an alarm's worst value is a value of. */
const worstQuantity: Readonly<Record<string, AlarmQuantity>> = {
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
  disk_nearly_full: 'bytes',
  board_clock_drift: 'share',
}

export function alarmQuantity(code: string): AlarmQuantity | undefined {
  return worstQuantity[code]
}

/** Units in which worst values are shown. */
export interface WorstUnits {
  mixture: MixtureUnit
  temperature: UnitId
  /** As chosen for the manifold: of oil and fuel only the family counts, since nobody has a vacuum there. */
  pressure: UnitId
}

/** Units of the worst values in the person's choice. */
export function worstUnits(choices: UnitChoices, mixture: MixtureUnit): WorstUnits {
  return {
    mixture,
    temperature: unitFor('temperature', choices, 'C'),
    pressure: unitFor('pressure', choices, 'kPa'),
  }
}

/** Unit of a pressure that a pump makes: psi with inches of mercury, bar with bar, else kPa. */
function pumpPressureUnit(chosen: UnitId): UnitId {
  if (/inHg|psi/.test(chosen)) return 'psi'
  return chosen.includes('bar') && chosen !== 'mbar' ? 'bar' : 'kPa'
}

/** Worst value of an alarm with its unit; `–` where there is none. */
export function worstText(code: string, worst: number | null, units: WorstUnits): string {
  if (worst === null || Number.isNaN(worst)) return '–'
  const number = (value: number, decimals: number) => formatNumber(value, { decimals, decimalMark })
  const quantity = (unitId: UnitId) => {
    const shown = shownValue(worst, unitId)
    return `${shown.text}${NARROW_SPACE}${shown.unit}`
  }
  switch (worstQuantity[code]) {
    case 'lambda':
      return mixtureWithUnit(worst, units.mixture)
    case 'temperature':
      return quantity(units.temperature)
    case 'pressure':
      return quantity(pumpPressureUnit(units.pressure))
    case 'voltage':
      return quantity('V')
    case 'seconds':
      return `${number(worst, 1)}${NARROW_SPACE}s`
    case 'bytes':
      return `${number(worst / 1e6, 0)}${NARROW_SPACE}MB left`
    case 'share':
      return `${number(100 * worst, 1)}${NARROW_SPACE}%`
    case undefined:
      return '–'
  }
}

/** `left bank` for two sensors, empty for one. */
export function bankText(
  alarm: Pick<LiveAlarm, 'bank'>,
  names: readonly string[],
  bankCount: number,
): string {
  return bankCount > 1 && alarm.bank ? (names[alarm.bank - 1] ?? `bank ${alarm.bank}`) : ''
}
