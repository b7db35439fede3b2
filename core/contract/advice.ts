import type { Circuit } from './car.ts'
import type { MixtureState } from './result.ts'

export type Difference = 'richer' | 'leaner' | 'no_difference' | 'not_enough_data'

export interface ComparisonResult {
  format: 'floatbowl-compare 1'
  /** B − A in λ, both at reference air when `air_corrected`. */
  states: Partial<
    Record<
      MixtureState,
      {
        difference: number | null
        ci95: [number, number] | null
        verdict: Difference
        seconds_a?: number
        seconds_b?: number
      }
    >
  >
  air_corrected: boolean
  transients: Record<string, unknown>
  verdict: Difference | 'mixed'
  /** Text in plain words, and whatever else is compared (map, warm-up, pulls, economy). */
  [more: string]: unknown
}

export interface PartSize {
  label: string
  bore_mm?: number
  turns?: number
  opens_inHg?: number
  volume_ml?: number
  [more: string]: unknown
}

export interface Change {
  circuit: Circuit
  part: string
  direction: 'richer' | 'leaner'
  from: PartSize
  to: PartSize
  area_factor: number | null
  expected_lambda: number | null
  expected_ci95: [number, number] | null
  because: string[]
  [more: string]: unknown
}

export interface AdviceResult {
  format: 'floatbowl-advice 1'
  done: boolean
  next: Change | null
  also: Change[]
  /** When data cannot decide: what to drive; with `channel`, no driving helps until the board sends it. */
  needs?: { state: MixtureState | string; seconds: number; channel?: string; [more: string]: unknown }[]
  states: Record<
    string,
    {
      verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data'
      lambda: number | null
      ci95: [number, number] | null
      target: number | null
      /** Least and most λ that are right: what the verdict was judged by. Wider than the target's own where the load is not told, or enrichment is in it. */
      band?: [number, number]
      [more: string]: unknown
    }
  >
  warnings?: string[]
  [more: string]: unknown
}
