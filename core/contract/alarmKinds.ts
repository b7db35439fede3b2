import type { AlarmPriority } from './result.ts'

/** What is fixed about an alarm, whatever the car. */
export interface AlarmKind {
  readonly priority: AlarmPriority
  /** True where a lower value is the worse one. */
  readonly isLowBad?: boolean
  /** Of an alarm of the mixture: the state it is told of, and to which side of the target λ lies. */
  readonly mixture?: { readonly state: 'power' | 'cruise'; readonly side: 'lean' | 'rich' }
}

/** Every alarm by its code: the engine's first, then those of what only the bridge can see. */
export const alarmKinds = {
  lean_under_load: { priority: 'warning', mixture: { state: 'power', side: 'lean' } },
  exhaust_hot: { priority: 'warning' },
  oil_pressure_low: { priority: 'warning', isLowBad: true },
  coolant_hot: { priority: 'warning' },
  lean_in_power: { priority: 'caution', mixture: { state: 'power', side: 'lean' } },
  rich_in_power: { priority: 'caution', isLowBad: true, mixture: { state: 'power', side: 'rich' } },
  lean_in_cruise: { priority: 'caution', mixture: { state: 'cruise', side: 'lean' } },
  rich_in_cruise: { priority: 'caution', isLowBad: true, mixture: { state: 'cruise', side: 'rich' } },
  sensor_fault: { priority: 'caution' },
  supply_low: { priority: 'caution', isLowBad: true },
  supply_high: { priority: 'caution' },
  fuel_pressure_low: { priority: 'caution', isLowBad: true },
  fuel_pressure_high: { priority: 'caution' },
  no_samples: { priority: 'caution' },
  disk_nearly_full: { priority: 'caution', isLowBad: true },
  board_clock_drift: { priority: 'advisory' },
} as const satisfies Readonly<Record<string, AlarmKind>>

export type AlarmCode = keyof typeof alarmKinds

/** What is known of an alarm by a code that came from outside; undefined for one of a later version. */
export function alarmKind(code: string): AlarmKind | undefined {
  return Object.hasOwn(alarmKinds, code) ? alarmKinds[code as AlarmCode] : undefined
}
