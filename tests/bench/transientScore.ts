import type { AnalysisResult, TransientPattern } from '../../core/contract/result.ts'

/*
 * How openings of the throttle, their patterns and stumbles are scored, the same for both engines. A car without a throttle sensor is told of openings
 * by its manifold pressure alone, by another definition: it stands in rows of its own, against what its pressure truly did.
 */

/** A true opening, of either engine. */
export interface TrueOpening {
  readonly startS: number
  readonly borderline?: boolean | undefined
  readonly pattern?: TransientPattern | null | undefined
  readonly patternSettled?: TransientPattern | undefined
  readonly patternSure?: boolean | undefined
  readonly stumble?: boolean | undefined
}

export interface OpeningScore {
  truth: number
  found: number
  hits: number
  extra: number
  patterns: number
  right: number
  rightSettled: number
  /** Of the openings whose pattern holds with the limits moved by 0.01 λ. */
  sure: number
  sureRight: number
  stumbles: number
  stumblesRight: number
  /** Start told less true start, s. */
  onsets: number[]
  /** "true→told" and how often. */
  readonly confusion: Map<string, number>
  missed: number[]
  extraAt: number[]
}

export const emptyOpeningScore = (): OpeningScore => ({
  truth: 0,
  found: 0,
  hits: 0,
  extra: 0,
  patterns: 0,
  right: 0,
  rightSettled: 0,
  sure: 0,
  sureRight: 0,
  stumbles: 0,
  stumblesRight: 0,
  onsets: [],
  confusion: new Map(),
  missed: [],
  extraAt: [],
})

const MATCH_S = 0.5
/** Beside a gap neither judge sees the whole. */
const GAP_EDGE_S = 1

/** Adds one run's openings to a score. */
export function scoreOpenings(
  score: OpeningScore,
  result: AnalysisResult,
  right: readonly TrueOpening[],
): void {
  const told = result.transients.filter(({ kind }) => kind === 'tip_in')
  const used = new Set<number>()
  const isInGap = (t: number) =>
    result.integrity.gaps.some((gap) => t > gap.start_s - GAP_EDGE_S && t < gap.end_s + GAP_EDGE_S)
  for (const event of right) {
    let best = -1
    let bestS = MATCH_S
    told.forEach(({ start_s }, i) => {
      const off = Math.abs(start_s - event.startS)
      if (used.has(i) || off >= bestS) return
      best = i
      bestS = off
    })
    if (best >= 0) used.add(best)
    if (event.borderline || isInGap(event.startS)) continue
    score.truth++
    if (best < 0) {
      score.missed.push(event.startS)
      continue
    }
    score.hits++
    const one = told[best]
    score.onsets.push(one.start_s - event.startS)
    if (event.stumble !== undefined && one.stumble !== null) {
      score.stumbles++
      if (event.stumble === one.stumble) score.stumblesRight++
    }
    if (!event.pattern || one.pattern === null) continue
    const isRight = one.pattern === event.pattern
    score.patterns++
    if (isRight) score.right++
    if (isRight || one.pattern === event.patternSettled) score.rightSettled++
    if (event.patternSure) {
      score.sure++
      if (isRight) score.sureRight++
    }
    if (isRight) continue
    const key = `${event.pattern}→${one.pattern}${event.patternSure ? '' : ' (near a limit)'}`
    score.confusion.set(key, (score.confusion.get(key) ?? 0) + 1)
  }
  score.found += told.length
  told.forEach(({ start_s }, i) => {
    if (used.has(i) || isInGap(start_s)) return
    score.extra++
    score.extraAt.push(start_s)
  })
}

export const share = (part: number, whole: number) => (whole > 0 ? (part / whole).toFixed(3) : '–')

/** Prints the rows of a score. */
export function printOpenings(title: string, score: OpeningScore): void {
  const line = (name: string, value: string, target = '') =>
    console.log(`  ${name.padEnd(46)} ${value.padEnd(26)} ${target && `target ${target}`}`)
  console.log(title)
  line('recall', `${share(score.hits, score.truth)} of ${score.truth}`, '≥ 0.98')
  line('precision', share(score.found - score.extra, score.found), '≥ 0.98')
  const onsets = [...score.onsets].sort((a, b) => a - b)
  const at = (q: number) => (1000 * onsets[Math.floor(q * (onsets.length - 1))]).toFixed(0)
  if (onsets.length > 0) line('start told, off by, ms: 10, 50, 90 %', `${at(0.1)} ${at(0.5)} ${at(0.9)}`)
  line('pattern right', `${share(score.right, score.patterns)} of ${score.patterns}`, '≥ 0.9')
  line('  not within 0.01 λ of a limit', `${share(score.sureRight, score.sure)} of ${score.sure}`)
  line('  or against where λ settles', share(score.rightSettled, score.patterns))
  line('stumbles right', `${share(score.stumblesRight, score.stumbles)} of ${score.stumbles}`)
  const worst = [...score.confusion].sort((a, b) => b[1] - a[1]).slice(0, 8)
  line('confused', worst.map(([what, count]) => `${what} ${count}`).join(', '))
}
