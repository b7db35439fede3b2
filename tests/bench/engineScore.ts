import type { AnalysisResult, MixtureState, OperatingState } from '../../core/contract/result.ts'
import type { Truth } from '../../simulator/truth.ts'
import { pressureRises } from './pressureRises.ts'
import type { TrueOpening } from './transientScore.ts'

/** What one case scored; NaN where it does not apply. */
export interface CaseScore {
  readonly lambda: {
    state: MixtureState
    error: number
    half: number
    errorAll: number
    errorStill: number
    seconds: number
  }[]
  /** Delay error at idle and at power, s. */
  delayIdleS: number
  delayPowerS: number
  tips: {
    truth: number
    found: number
    hits: number
    extra: number
    patterns: number
    patternsRight: number
    patternsSettled: number
    stumbles: number
    stumblesRight: number
  }
  agreement: number
  worstStates: string
  missedTips: number[]
  extraTips: number[]
  wrongPatterns: string[]
}

const steadyStates: readonly MixtureState[] = ['idle', 'cruise', 'part_throttle', 'power', 'warm_up']
/** A state counts when it was seen at least so long, s. */
const LEAST_STATE_S = 3

/** Holds a result against the truth, row by row of the design's table. */
export function scoreCase(result: AnalysisResult, truth: Truth): CaseScore {
  return {
    lambda: scoreLambda(result, truth),
    delayIdleS: delayError(result, truth, 'idle'),
    delayPowerS: delayError(result, truth, 'power'),
    tips: scoreTips(result, truth),
    ...scoreStates(result, truth),
    ...listTips(result, truth),
  }
}

function stateMean(truth: Truth, state: OperatingState, column: Float32Array, steadyOnly: boolean): number {
  const code = truth.states.indexOf(state)
  let sum = 0
  let count = 0
  for (let i = 0; i < truth.state.length; i++) {
    if (truth.state[i] !== code || (steadyOnly && truth.steadyNow[i] === 0) || !Number.isFinite(column[i]))
      continue
    if (column[i] > 3) continue
    sum += column[i]
    count++
  }
  return count > 0 ? sum / count : Number.NaN
}

function scoreLambda(result: AnalysisResult, truth: Truth): CaseScore['lambda'] {
  const out: CaseScore['lambda'] = []
  for (const state of steadyStates) {
    const found = result.mixture[state]
    const right = truth.steady[0][state as OperatingState]
    if (
      !found ||
      found.lambda_median === null ||
      !right ||
      right.seconds < LEAST_STATE_S ||
      found.seconds < 2
    )
      continue
    out.push({
      state,
      error: found.lambda_median - right.mean,
      half: found.ci95 ? (found.ci95[1] - found.ci95[0]) / 2 : Number.NaN,
      errorAll: found.lambda_median - stateMean(truth, state as OperatingState, truth.lambda[0], false),
      errorStill: found.lambda_median - right.meanStill,
      seconds: found.seconds,
    })
  }
  return out
}

/** Mean error of the law's delay over the steady moments of a state. */
function delayError(result: AnalysisResult, truth: Truth, state: OperatingState): number {
  const code = truth.states.indexOf(state)
  const { a_s, b_s_rpm_kPa } = result.delay
  let sum = 0
  let count = 0
  for (let i = 0; i < truth.state.length; i++) {
    if (truth.state[i] !== code || truth.steadyNow[i] === 0) continue
    const flow = truth.rpm[i] * truth.manifoldKpa[i]
    if (!(flow > 5000)) continue
    sum += a_s + b_s_rpm_kPa / flow - truth.totalDelayS[i]
    count++
  }
  return count > truth.rateHz ? sum / count : Number.NaN
}

const kinds = ['tip_in'] as const
const MATCH_S = 0.35

/** True openings of the throttle, or what the pressure truly did where the board has no throttle. */
export function trueOpenings(result: AnalysisResult, truth: Truth): readonly TrueOpening[] {
  return result.channels_used.includes('throttle')
    ? truth.events.filter(({ kind }) => kind === kinds[0])
    : pressureRises(truth.timeS, truth.manifoldKpa, truth.rpm)
}

function matchTips(result: AnalysisResult, truth: Truth) {
  const found = result.transients.filter(({ kind }) => kind === kinds[0])
  const right = trueOpenings(result, truth)
  const used = new Set<number>()
  const pairs: [number, number][] = []
  right.forEach((event, r) => {
    let best = -1
    let bestS = MATCH_S
    found.forEach((transient, f) => {
      const off = Math.abs(transient.start_s - event.startS)
      if (!used.has(f) && off < bestS) {
        best = f
        bestS = off
      }
    })
    if (best < 0) return
    used.add(best)
    pairs.push([r, best])
  })
  const isInGap = (t: number) => result.integrity.gaps.some((gap) => t > gap.start_s - 1 && t < gap.end_s + 1)
  return { found, right, used, pairs, isInGap }
}

function scoreTips(result: AnalysisResult, truth: Truth): CaseScore['tips'] {
  const { found, right, used, pairs, isInGap } = matchTips(result, truth)
  const sure = right.filter((event) => !event.borderline && !isInGap(event.startS))
  const tips = {
    truth: sure.length,
    found: found.length,
    hits: 0,
    extra: 0,
    patterns: 0,
    patternsRight: 0,
    patternsSettled: 0,
    stumbles: 0,
    stumblesRight: 0,
  }
  for (const [r, f] of pairs) {
    const event = right[r]
    const transient = found[f]
    if (!event.borderline && !isInGap(event.startS)) tips.hits++
    if (event.pattern === undefined || transient.pattern === null || event.borderline) continue
    tips.patterns++
    if (transient.pattern === event.pattern) tips.patternsRight++
    if (transient.pattern === event.pattern || transient.pattern === event.patternSettled)
      tips.patternsSettled++
    if (event.stumble !== undefined && transient.stumble !== null) {
      tips.stumbles++
      if (event.stumble === transient.stumble) tips.stumblesRight++
    }
  }
  found.forEach((transient, f) => {
    if (!used.has(f) && !isInGap(transient.start_s)) tips.extra++
  })
  return tips
}

function listTips(result: AnalysisResult, truth: Truth) {
  const { found, right, used, pairs, isInGap } = matchTips(result, truth)
  const matched = new Set(pairs.map(([r]) => r))
  return {
    missedTips: right
      .filter((e, r) => !matched.has(r) && !e.borderline && !isInGap(e.startS))
      .map((e) => e.startS),
    extraTips: found.filter((t, f) => !used.has(f) && !isInGap(t.start_s)).map((t) => t.start_s),
    wrongPatterns: pairs
      .filter(([r, f]) => right[r].pattern !== found[f].pattern && !right[r].borderline)
      .map(([r, f]) => `${right[r].pattern}→${found[f].pattern}`),
  }
}

/** Share of time in which the states agree; moments within 0.3 s of a true edge are excused, gaps do not count. */
function scoreStates(result: AnalysisResult, truth: Truth): { agreement: number; worstStates: string } {
  const excuse = Math.round(0.3 * truth.rateHz)
  const n = truth.state.length
  const nearEdge = new Uint8Array(n)
  let lastEdge = Number.NEGATIVE_INFINITY
  for (let i = 1; i < n; i++) {
    if (truth.state[i] !== truth.state[i - 1]) lastEdge = i
    if (i - lastEdge <= excuse) nearEdge[i] = 1
  }
  let nextEdge = Number.POSITIVE_INFINITY
  for (let i = n - 1; i > 0; i--) {
    if (nextEdge - i <= excuse) nearEdge[i] = 1
    if (truth.state[i] !== truth.state[i - 1]) nextEdge = i
  }
  let span = 0
  let agreed = 0
  let counted = 0
  const confusion = new Map<string, number>()
  for (let i = 0; i < n; i++) {
    const t = truth.timeS[i]
    while (span < result.states.length && result.states[span].end_s <= t) span++
    const told =
      span < result.states.length && result.states[span].start_s <= t ? result.states[span].state : 'none'
    if (nearEdge[i] === 1 || told === 'none') continue
    counted++
    const right = truth.states[truth.state[i]]
    if (told === right) agreed++
    else confusion.set(`${right}→${told}`, (confusion.get(`${right}→${told}`) ?? 0) + 1)
  }
  const worst = [...confusion].sort((a, b) => b[1] - a[1]).slice(0, 3)
  return {
    agreement: counted > 0 ? agreed / counted : Number.NaN,
    worstStates: worst.map(([what, count]) => `${what} ${((100 * count) / counted).toFixed(1)} %`).join(', '),
  }
}
