import type { Box, Fitted } from '../../core/contract/car.ts'
import type { Transient } from '../../core/contract/result.ts'
import { type SyntheticOptions, syntheticRun } from './syntheticRun.ts'

/** Bores from one to another, labelled in hundredths of a millimetre. */
export const sizes = (from: number, to: number, step: number) => {
  const list: { label: string; bore_mm: number }[] = []
  for (let mm = from; mm < to + step / 2; mm += step) {
    list.push({ label: String(Math.round(mm * 100)), bore_mm: Math.round(mm * 1000) / 1000 })
  }
  return list
}
/** A well-filled box about the right parts. */
export const box: Box = {
  main_jet: sizes(1.6, 2.1, 0.03),
  power_restriction: sizes(1.2, 1.7, 0.05),
  idle_screws: Array.from({ length: 12 }, (_, i) => ({ label: String((i + 2) / 4), turns: (i + 2) / 4 })),
  squirter: sizes(0.64, 0.99, 0.05),
}
/** Parts that put every state in its band. */
export const right: Fitted = {
  main_jet: { label: '185', bore_mm: 1.85 },
  power_restriction: { label: '140', bore_mm: 1.4 },
  idle_screws: { label: '1.5', turns: 1.5 },
  squirter: { label: '79', bore_mm: 0.79 },
}
/** Home air. */
export const air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 }

/** A car that is right with `right`: shares of fuel per state, screws as a power of their turns. */
export function engine(fitted: Fitted): SyntheticOptions['lambdaAt'] {
  const main = (fitted.main_jet.bore_mm! / 1.85) ** 2
  const power = (fitted.power_restriction.bore_mm! / 1.4) ** 2
  const screws = ((fitted.idle_screws?.turns ?? 1.5) / 1.5) ** 0.4
  return (_rpm, load, state) => {
    if (state === 'idle') return 0.95 / screws
    if (load < 0.6) return 1.02 / (0.8 * main + 0.2 * screws)
    if (load < 0.8) return 0.97 / (0.85 * main + 0.15 * screws)
    return 0.865 / (0.68 * main + 0.32 * power)
  }
}
/** A drive of one day with these parts. */
export const drive = (fitted: Fitted, day: number, more: Partial<SyntheticOptions> = {}) =>
  syntheticRun({
    seed: 50 + day,
    seconds: 800,
    fitted,
    air,
    startMs: day * 86_400_000,
    lambdaAt: engine(fitted),
    ...more,
  })
/** The right parts with one of another size. */
export const withPart = (part: string, size: Partial<Fitted[string]>): Fitted => ({
  ...right,
  [part]: { label: 'x', ...size },
})

/** A tip-in that went as its pattern says. */
export const tipIn = (pattern: Transient['pattern']): Transient => ({
  kind: 'tip_in',
  start_s: 10,
  rate_pct_s: 80,
  from_state: 'cruise',
  to_state: 'part_throttle',
  rpm: 2000,
  lean_peak: pattern === 'clean' ? 0.02 : 0.17,
  lean_peak_after_s: 0.2,
  rich_peak: 0,
  rich_peak_after_s: null,
  recovered_s: 1,
  stumble: false,
  pattern,
})
