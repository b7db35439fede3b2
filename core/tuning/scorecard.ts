import type { Swap, Tank } from '../contract/api.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { meanOf } from '../numeric/average.ts'
import { asRunAnalysis } from './evidence.ts'
import { economyOfTanks } from './tankLog.ts'

/** A set-up in numbers over all its runs and tanks. NaN where nothing was seen. */
export interface SetUpScore {
  runs: number
  hours: number
  /** Share of the steady time inside the bands, 0…1. */
  onTargetShare: number
  stumblesPer100TipIns: number
  tipIns: number
  selfIdleS: number
  selfIdleCoolantC: number
  /** l/100 km with its standard error, from the tank log. */
  economyL100Km: number
  economySe: number
  peakKw: number
  /** Money spent on parts for this set-up; fuel is in `fuelCost`. */
  spent: number
  fuelCost: number
}

/** Which of two set-ups a line of the scorecard favours, and how sure. */
export interface ScoreLine {
  what: string
  a: number
  b: number
  /** B better, A better, or a difference that chance could make. */
  verdict: 'b_better' | 'a_better' | 'cannot_tell'
  why: string
}

/** Scorecard over the runs, swaps and tanks of one set-up. */
export function scoreSetUp(
  runs: readonly (RunAnalysis | AnalysisResult)[],
  swaps: readonly Swap[] = [],
  tanks: readonly Tank[] = [],
): SetUpScore {
  const results = runs.map((run) => asRunAnalysis(run).result)
  let steadyS = 0
  let insideS = 0
  let tipIns = 0
  let stumbles = 0
  let seconds = 0
  const selfIdle: number[] = []
  const selfIdleCoolant: number[] = []
  let peakKw = Number.NaN
  for (const result of results) {
    seconds += result.run.seconds
    for (const mixture of Object.values(result.mixture)) {
      if (!mixture || mixture.inside_share === null) continue
      steadyS += mixture.seconds
      insideS += mixture.seconds * mixture.inside_share
    }
    for (const event of result.transients) {
      if (event.kind !== 'tip_in' || event.stumble === null) continue
      tipIns++
      if (event.stumble) stumbles++
    }
    if (typeof result.warm_up?.self_idle_s === 'number') selfIdle.push(result.warm_up.self_idle_s)
    if (typeof result.warm_up?.self_idle_coolant_C === 'number') {
      selfIdleCoolant.push(result.warm_up.self_idle_coolant_C)
    }
    for (const pull of result.pulls) {
      if (pull.peak_kW !== null && !(pull.peak_kW <= peakKw)) peakKw = pull.peak_kW
    }
  }
  const economy = economyOfTanks(tanks)
  return {
    runs: results.length,
    hours: seconds / 3600,
    onTargetShare: steadyS > 0 ? insideS / steadyS : Number.NaN,
    stumblesPer100TipIns: tipIns > 0 ? (100 * stumbles) / tipIns : Number.NaN,
    tipIns,
    selfIdleS: meanOf(selfIdle),
    selfIdleCoolantC: meanOf(selfIdleCoolant),
    economyL100Km: economy.l100Km,
    economySe: economy.se,
    peakKw,
    spent: swaps.reduce((sum, swap) => sum + (swap.cost ?? 0), 0),
    fuelCost: tanks.reduce((sum, tank) => sum + (tank.cost ?? 0), 0),
  }
}

/** Standard deviation of peak wheel power from pull to pull, as a share. Common practice, no source: wind and slope. */
const POWER_SD = 0.03
/** Share by which the time on target must differ to be told from another road. Chosen here. */
const ON_TARGET_STEP = 0.08
/** Seconds by which the self-idle time must differ: no two mornings are alike. Chosen here. */
const SELF_IDLE_STEP_S = 20
const SURE = 1.96

/** Two set-ups line by line: was the change worth it? Differences that chance could make are called so. */
export function compareSetUps(a: SetUpScore, b: SetUpScore): ScoreLine[] {
  const line = (
    what: string,
    x: number,
    y: number,
    isHigherBetter: boolean,
    doubt: number,
    why: string,
  ): ScoreLine => {
    const gain = isHigherBetter ? y - x : x - y
    const verdict = !(Math.abs(gain) > doubt) ? 'cannot_tell' : gain > 0 ? 'b_better' : 'a_better'
    return { what, a: x, b: y, verdict, why }
  }
  const stumbleDoubt = SURE * 100 * Math.sqrt(binomialVariance(a) + binomialVariance(b))
  return [
    line(
      'time on target',
      a.onTargetShare,
      b.onTargetShare,
      true,
      ON_TARGET_STEP,
      'steady time inside the bands',
    ),
    line(
      'stumbles in 100 tip-ins',
      a.stumblesPer100TipIns,
      b.stumblesPer100TipIns,
      false,
      stumbleDoubt,
      `${a.tipIns} and ${b.tipIns} tip-ins`,
    ),
    line(
      'seconds until it idles by itself',
      a.selfIdleS,
      b.selfIdleS,
      false,
      SELF_IDLE_STEP_S,
      'cold starts',
    ),
    line(
      'fuel, l/100 km',
      a.economyL100Km,
      b.economyL100Km,
      false,
      SURE * Math.hypot(a.economySe, b.economySe),
      'tank log',
    ),
    line(
      'peak wheel power, kW',
      a.peakKw,
      b.peakKw,
      true,
      SURE * POWER_SD * Math.hypot(a.peakKw, b.peakKw),
      'pulls, corrected',
    ),
    line('spent', a.spent, b.spent, false, 0, 'parts'),
  ]
}

/** Variance of a share of stumbles, with one added on either side so that 0 of 5 is not certainty. */
function binomialVariance(score: SetUpScore): number {
  if (score.tipIns === 0) return Number.POSITIVE_INFINITY
  const stumbles = (score.stumblesPer100TipIns / 100) * score.tipIns
  const share = (stumbles + 1) / (score.tipIns + 2)
  return (share * (1 - share)) / score.tipIns
}
