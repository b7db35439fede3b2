import type { AdviceResult } from '../contract/advice.ts'
import type { CarProfile } from '../contract/car.ts'
import type { RunAnalysis, TransientPattern } from '../contract/result.ts'
import { stateLimits } from '../engine/stateLimits.ts'
import { chokeFedUntilS } from './chokeFuel.ts'
import { median } from './compareSideBySide.ts'

/** What the tip-ins of the runs with today's parts tell of the pump circuit. */
export interface PumpVerdict {
  verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data'
  /** The pattern that most of the bad tip-ins share. */
  pattern: TransientPattern | null
  tipIns: number
  /** Tip-ins with that pattern. */
  count: number
  /** Tip-ins to its side, lean or rich, whatever their pattern. */
  all: number
  /** Median peak over (lean) or under (rich) target of those. */
  peak: number | null
  afterS: number | null
}

/** Tip-ins needed for a verdict, and the share that must show one fault. Chosen here: fewer than half may be the road as well as the pump. */
const LEAST_TIP_INS = 5
export const FAULT_SHARE = 0.5

/** Verdict on the pump circuit from the tip-ins of a warm engine that no choke feeds: on cold walls any shot is late and thin. */
export function judgePump(runs: readonly RunAnalysis[], car: CarProfile | undefined): PumpVerdict {
  const { warm_C } = stateLimits(car?.state_limits)
  const tipIns = runs.flatMap((run) => {
    const fedUntilS = chokeFedUntilS(run, car)
    return run.result.transients.filter(
      ({ kind, start_s, pattern, from_state, coolant_C }) =>
        kind === 'tip_in' &&
        pattern !== null &&
        start_s >= fedUntilS &&
        from_state !== 'warm_up' &&
        !(typeof coolant_C === 'number' && coolant_C < warm_C),
    )
  })
  const counts = new Map<TransientPattern, number>()
  for (const { pattern } of tipIns) {
    if (pattern && pattern !== 'clean') counts.set(pattern, (counts.get(pattern) ?? 0) + 1)
  }
  const none = { pattern: null, tipIns: tipIns.length, count: 0, all: 0, peak: null, afterS: null }
  if (tipIns.length < LEAST_TIP_INS) return { verdict: 'not_enough_data', ...none }
  // Lean is one fault, whether it shows at once or later: gentle and brisk openings show it differently.
  const familyOf = (pattern: TransientPattern) => (pattern === 'rich' ? 'rich' : 'lean')
  const families = new Map<string, number>()
  for (const [pattern, count] of counts)
    families.set(familyOf(pattern), (families.get(familyOf(pattern)) ?? 0) + count)
  const [family, all] = [...families].sort((a, b) => b[1] - a[1])[0] ?? ['lean', 0]
  const ofFamily = [...counts].filter((entry) => familyOf(entry[0]) === family)
  // Lean at the secondaries is their spring's fault only while the other openings are fine: a thin shot shows at both.
  const atSecondary = counts.get('lean_at_secondary') ?? 0
  const isPumps = all - atSecondary >= FAULT_SHARE * (tipIns.length - atSecondary) && all > atSecondary
  // The other way round the spring is to blame, though some of its openings show the lean moment later than others.
  const isSprings = family === 'lean' && !isPumps && atSecondary > 0
  const [pattern, count] = ofFamily
    .filter((entry) => (entry[0] === 'lean_at_secondary') === isSprings)
    .sort((a, b) => b[1] - a[1])[0] ?? [null, 0]
  if (!pattern || all < FAULT_SHARE * tipIns.length) return { verdict: 'on_target', ...none }
  const same = tipIns.filter((entry) => entry.pattern === pattern)
  const isRich = pattern === 'rich'
  return {
    verdict: isRich ? 'rich' : 'lean',
    pattern,
    tipIns: tipIns.length,
    count,
    all,
    peak: median(same.map((entry) => (isRich ? entry.rich_peak : entry.lean_peak))),
    afterS: median(same.map((entry) => (isRich ? entry.rich_peak_after_s : entry.lean_peak_after_s))),
  }
}

/** The pump's place among the states of an advice. */
export function pumpState({ verdict, pattern, tipIns, count }: PumpVerdict): AdviceResult['states'][string] {
  return { verdict, lambda: null, ci95: null, target: null, pattern, tip_ins: tipIns, count }
}

/**
 * A lean peak within so many s of the opening may have begun at once or a moment later: sensor lag and the delay's own error are as large as the
 * difference. A shot that ended too early leaves its peak later. Chosen here.
 */
const SOON_S = 0.45

/** The pattern that is to be cured: of openings whose lean peak comes soon the shot is held to be too thin, since a smaller squirter would make it thinner. */
export function curedPatternOf({ pattern, afterS }: PumpVerdict): TransientPattern | null {
  const isSoon = pattern === 'lean_later' && afterS !== null && afterS <= SOON_S
  return isSoon ? 'lean_at_once' : pattern
}

/** Words for the patterns. */
export const patternWords: Readonly<Record<TransientPattern, string>> = Object.freeze({
  lean_at_once: 'lean at once',
  lean_later: 'lean after a moment',
  rich: 'rich',
  lean_then_rich: 'lean, then rich',
  lean_at_secondary: 'lean as the secondaries open',
  clean: 'clean',
})
