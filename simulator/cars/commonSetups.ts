import type { Setup } from '../simCar.ts'

/** A car as it should be. */
export const rightSetup: Setup = { text: 'every state in its band', wrong: [] }

/** A pump whose plunger or valve has gone. */
export const deadPump: Setup = {
  text: 'accelerator pump gives nothing',
  parameters: { 'carb.pump_scale': 0 },
  wrong: ['pump'],
}

/** Chokes whose coil was wound for another carburettor: they open too early or too late, whatever the car. */
export const wrongChokes: Readonly<Record<'early_choke' | 'late_choke', Setup>> = {
  early_choke: {
    text: 'choke opens too early',
    parameters: { 'choke.open_C': 32, 'choke.heat_tau_s': 80 },
    wrong: ['choke'],
  },
  late_choke: {
    text: 'choke opens too late',
    parameters: { 'choke.open_C': 80, 'choke.heat_tau_s': 800 },
    wrong: ['choke'],
  },
}
