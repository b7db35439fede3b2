import type { AnalysisResult, Transient, TransientPattern } from '../contract/result.ts'
import { medianOf } from '../numeric/average.ts'

/** Tip-ins of one run in numbers. Medians are null without tip-ins. */
export interface TipInSummary {
  tip_ins: number
  stumbles: number
  lean_peak_median: number | null
  recovered_s_median: number | null
  patterns: Partial<Record<TransientPattern, number>>
}

/** Numbers of the tip-ins: count, stumbles, median lean peak over target, median time back in the band, patterns. */
export function summariseTipIns(transients: readonly Transient[]): TipInSummary {
  const tipIns = transients.filter((entry) => entry.kind === 'tip_in')
  const patterns: Partial<Record<TransientPattern, number>> = {}
  for (const { pattern } of tipIns) if (pattern) patterns[pattern] = (patterns[pattern] ?? 0) + 1
  return {
    tip_ins: tipIns.length,
    stumbles: tipIns.filter((entry) => entry.stumble === true).length,
    lean_peak_median: median(tipIns.map((entry) => entry.lean_peak)),
    recovered_s_median: median(tipIns.map((entry) => entry.recovered_s)),
    patterns,
  }
}

/** What is laid side by side besides the steady mixture: tip-ins, warm-up, pulls, economy. Nothing of it enters the verdict. */
export function compareSideBySide(a: AnalysisResult, b: AnalysisResult) {
  const tipA = summariseTipIns(a.transients)
  const tipB = summariseTipIns(b.transients)
  return {
    transients: {
      a: tipA,
      b: tipB,
      lean_peak_difference: subtract(tipB.lean_peak_median, tipA.lean_peak_median),
      stumble_share_p: stumbleTail(tipA, tipB),
    } as Record<string, unknown>,
    warm_up: {
      a: warmUpOf(a),
      b: warmUpOf(b),
      self_idle_s_difference: subtract(b.warm_up?.self_idle_s, a.warm_up?.self_idle_s),
    },
    pulls: {
      a: peakOf(a),
      b: peakOf(b),
      peak_kW_difference: subtract(peakOf(b).peak_kW, peakOf(a).peak_kW),
    },
    economy: {
      a: a.scorecard.economy,
      b: b.scorecard.economy,
      difference: subtract(b.scorecard.economy, a.scorecard.economy),
    },
  }
}

function warmUpOf(result: AnalysisResult) {
  const warmUp = result.warm_up
  if (!warmUp) return null
  const { crank_s, stalls, self_idle_s, self_idle_coolant_C, choke } = warmUp
  return { crank_s, stalls, self_idle_s, self_idle_coolant_C, choke }
}

function peakOf(result: AnalysisResult) {
  const peaks = result.pulls.map((pull) => pull.peak_kW).filter((value): value is number => value !== null)
  return { count: result.pulls.length, peak_kW: peaks.length > 0 ? Math.max(...peaks) : null }
}

/** Median of the numbers among the values, as JSON has it: null when there are none. */
export function median(values: readonly (number | null | undefined)[]): number | null {
  const middle = medianOf(values)
  return Number.isNaN(middle) ? null : middle
}

function subtract(b: number | null | undefined, a: number | null | undefined): number | null {
  return typeof a === 'number' && typeof b === 'number' ? Math.round((b - a) * 1e4) / 1e4 : null
}

/** Two-sided tail share of the stumble counts if both set-ups stumbled alike (Fisher's exact test); null without tip-ins. */
function stumbleTail(a: TipInSummary, b: TipInSummary): number | null {
  if (a.tip_ins === 0 || b.tip_ins === 0) return null
  const total = a.stumbles + b.stumbles
  const logChoose = (n: number, k: number) => {
    let sum = 0
    for (let i = 1; i <= k; i++) sum += Math.log((n - k + i) / i)
    return sum
  }
  const share = (k: number) =>
    Math.exp(
      logChoose(a.tip_ins, k) + logChoose(b.tip_ins, total - k) - logChoose(a.tip_ins + b.tip_ins, total),
    )
  const seen = share(a.stumbles)
  let tail = 0
  for (let k = Math.max(0, total - b.tip_ins); k <= Math.min(total, a.tip_ins); k++) {
    const p = share(k)
    if (p <= seen * (1 + 1e-9)) tail += p
  }
  return Math.round(Math.min(1, tail) * 1e4) / 1e4
}
