import type { Circuit } from '../contract/car.ts'

/** How one circuit stands in one run; the rows of the run page and of the report. */
export interface CircuitVerdict {
  circuit: Circuit
  name: string
  /** What feeds it or when it rules, in a few words. */
  detail: string
  verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data'
  /** `on target`, `rich 0.08`, `lean at once`: what is shown. */
  words: string
  /** λ minus target at home air, NaN when unknown; half width of its 95 % interval. */
  error: number
  half95: number
  target: number
  /** Allowed distances, positive. */
  bandRich: number
  bandLean: number
  seconds: number
  /** For the pump and the choke: what was counted, e.g. `9 of 11`. */
  counted?: string
  /** What to drive when data do not suffice, or what to connect when no driving helps. */
  missing?: string
  /** True when no driving helps, since the board tells no load. */
  lacksLoad?: boolean
}

/** The verdict with its distance from target as the caller words it: `rich 0.08`, in AFR `rich 1.2`. */
export function verdictWords(row: CircuitVerdict, distanceOf: (error: number) => string): string {
  const isSteady = row.circuit !== 'pump' && row.circuit !== 'choke'
  const isOff = row.verdict === 'rich' || row.verdict === 'lean'
  return isSteady && isOff ? `${row.verdict} ${distanceOf(Math.abs(row.error))}` : row.words
}
