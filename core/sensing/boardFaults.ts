/** What a board's fault or notice means for the reading. */
export interface FaultMeaning {
  /** λ may not be shown while the fault lasts. */
  readonly stopsLambda: boolean
  /** What is wrong and what to do first, for the screen. */
  readonly text: string
}

const meanings: Readonly<Record<string, FaultMeaning>> = Object.freeze({
  heater_open: {
    stopsLambda: true,
    text: 'sensor heater circuit is open: check plug, wire and fuse',
  },
  heater_short: {
    stopsLambda: true,
    text: 'sensor heater circuit is shorted: switch off and check the wire',
  },
  cell_open: {
    stopsLambda: true,
    text: 'sensor cell circuit is open: check plug and wire',
  },
  cell_short: {
    stopsLambda: true,
    text: 'sensor cell circuit is shorted: check plug and wire',
  },
  supply_low: {
    stopsLambda: true,
    text: 'supply is too low for the sensor heater: check battery, charging and ground',
  },
  overrun_uart: {
    stopsLambda: false,
    text: 'the board could not send all its samples',
  },
})

/**
 * Meaning of a fault code of the board's `E` line. A code that is not known does not stop λ and is shown by its name.
 */
export function boardFault(code: string): FaultMeaning {
  return Object.hasOwn(meanings, code)
    ? meanings[code]
    : { stopsLambda: false, text: `the board says: ${code.replaceAll('_', ' ')}` }
}

/** How the supply stands to the sensor's allowed range, V; `unknown` for NaN. */
export function supplyVerdict(
  supplyV: number,
  sensor: { readonly supplyV: readonly [number, number] },
): 'ok' | 'low' | 'high' | 'unknown' {
  if (Number.isNaN(supplyV)) return 'unknown'
  if (supplyV < sensor.supplyV[0]) return 'low'
  return supplyV > sensor.supplyV[1] ? 'high' : 'ok'
}
