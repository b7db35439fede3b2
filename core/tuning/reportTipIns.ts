import type { Transient } from '../contract/result.ts'
import { medianOf } from '../numeric/average.ts'
import { distanceWords, lambdaOf, type MixtureUnit } from '../units/mixtureUnit.ts'
import { isShared, type OpeningPatterns, openingPatterns } from './openingPatterns.ts'
import { escapeHtml, figure } from './reportText.ts'

const WIDTH = 420
const HEIGHT = 208
const LEFT = 34
const BOTTOM = 164
const TOP = 8
const FROM_S = -0.5
const TO_S = 2.5
/** What λ does later than this after an opening is the next jet's matter, not the pump's, s (bounds of the patterns of an opening). */
const ANSWER_S = 1.5
/** Traces drawn: more are no longer lines. */
const MOST_TRACES = 40
const STEP_S = 0.1
/** Distance of λ from target within which the middle opening is called fine. Chosen here. */
const FINE = 0.05

/** One tip-in's λ over seconds from the opening. */
interface Trace {
  points: [number, number][]
  target: number
}

/**
 * All tip-ins of a run laid over each other, their median heavy. Empty text when the run has none with a trace. Needs `trace` in the
 * transients: pairs of seconds after the opening and λ.
 */
export function tipInsFigure(transients: readonly Transient[], unit: MixtureUnit): string {
  const traces = transients
    .filter((entry) => entry.kind === 'tip_in')
    .map(traceOf)
    .filter((trace) => trace !== undefined)
    .slice(0, MOST_TRACES)
  if (traces.length === 0) return ''
  const middle = medianTrace(traces)
  const values = [...traces.flatMap((trace) => trace.points), ...middle].map((point) => point[1])
  const low = Math.max(0.6, Math.min(0.85, ...values.map((value) => Math.floor(value * 20) / 20)))
  const high = Math.min(1.5, Math.max(1.1, ...values.map((value) => Math.ceil(value * 20) / 20)))
  const x = (s: number) => LEFT + ((s - FROM_S) / (TO_S - FROM_S)) * (WIDTH - LEFT - 6)
  const y = (lambda: number) =>
    BOTTOM - ((Math.min(high, Math.max(low, lambda)) - low) / (high - low)) * (BOTTOM - TOP)
  const path = (points: readonly [number, number][]) =>
    points
      .map(([s, lambda], i) => `${i === 0 ? 'M' : 'L'}${x(s).toFixed(1)} ${y(lambda).toFixed(1)}`)
      .join('')
  const grid: string[] = []
  const step = unit.of(1) > 2 ? 1 : 0.1
  const ends = [unit.of(low), unit.of(high)]
  for (let n = Math.ceil(Math.min(...ends) / step - 1e-9); n * step <= Math.max(...ends) + 1e-9; n++) {
    const at = y(lambdaOf(n * step, unit)).toFixed(1)
    grid.push(
      `<line x1="${LEFT}" y1="${at}" x2="${WIDTH - 6}" y2="${at}" class="grid"/>`,
      `<text x="${LEFT - 5}" y="${(Number(at) + 4).toFixed(1)}" class="axis end">${figure(n * step, unit.decimals > 1 ? 1 : 0)}</text>`,
    )
  }
  for (let s = 0; s <= TO_S; s += 0.5) {
    grid.push(
      `<text x="${x(s).toFixed(1)}" y="${BOTTOM + 16}" class="axis ${s === TO_S ? 'end' : 'mid'}">${figure(s, 1)}</text>`,
    )
  }
  const target = medianOf(traces.map((trace) => trace.target))
  const finding = findingOf(middle, target, unit, openingPatterns(transients))
  const words = `${traces.length} throttle openings laid over each other. ${finding}`
  return (
    `<svg class="tips" viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="${escapeHtml(words)}">` +
    grid.join('') +
    `<line x1="${x(0).toFixed(1)}" y1="${TOP}" x2="${x(0).toFixed(1)}" y2="${BOTTOM}" class="opens"/>` +
    (Number.isFinite(target)
      ? `<line x1="${LEFT}" y1="${y(target).toFixed(1)}" x2="${WIDTH - 6}" y2="${y(target).toFixed(1)}" class="aim"/>`
      : '') +
    traces.map((trace) => `<path d="${path(trace.points)}" class="one"/>`).join('') +
    `<path d="${path(middle)}" class="median"/>` +
    // Over the traces, where they are few: among those before the opening it cannot be read.
    (Number.isFinite(target)
      ? `<text x="${WIDTH - 6}" y="${(y(target) - 4).toFixed(1)}" class="axis end name">target</text>`
      : '') +
    `<text x="${WIDTH - 6}" y="${HEIGHT - 6}" class="axis end">seconds after the throttle opens</text></svg>` +
    `<p class="quiet">${escapeHtml(finding)}</p>`
  )
}

function traceOf(transient: Transient): Trace | undefined {
  const raw = transient['trace']
  if (!Array.isArray(raw)) return undefined
  const points: [number, number][] = []
  for (const pair of raw) {
    if (!Array.isArray(pair)) continue
    const [s, lambda] = pair
    if (typeof s !== 'number' || typeof lambda !== 'number' || !(lambda > 0)) continue
    if (s >= FROM_S && s <= TO_S) points.push([s, lambda])
  }
  const target = transient['target']
  return points.length > 3 ? { points, target: typeof target === 'number' ? target : Number.NaN } : undefined
}

function medianTrace(traces: readonly Trace[]): [number, number][] {
  const middle: [number, number][] = []
  for (let s = FROM_S; s <= TO_S + 1e-9; s += STEP_S) {
    const values: number[] = []
    for (const { points } of traces) {
      const near = points.find((point) => Math.abs(point[0] - s) <= STEP_S / 2 + 1e-9)
      if (near) values.push(near[1])
    }
    if (values.length * 2 < traces.length || values.length === 0) continue
    middle.push([s, medianOf(values)])
  }
  return middle
}

function findingOf(
  middle: readonly [number, number][],
  target: number,
  unit: MixtureUnit,
  patterns: OpeningPatterns,
): string {
  const after = middle.filter((point) => point[0] >= 0 && point[0] <= ANSWER_S)
  if (after.length === 0 || !Number.isFinite(target)) return ''
  const lean = after.reduce((a, b) => (b[1] > a[1] ? b : a))
  const rich = after.reduce((a, b) => (b[1] < a[1] ? b : a))
  const over = lean[1] - target
  const under = target - rich[1]
  if (over < FINE && under < FINE)
    return `The middle one stays within ${distanceWords(FINE, unit, target)} of its target.`
  // The middle one starts at the mixture of before, and its target is that of after: a fault is what the openings show one by one.
  if (!isShared(over >= under ? patterns.lean : patterns.rich, patterns)) return `${patterns.text}.`
  return over >= under
    ? `The middle one goes lean by ${distanceWords(over, unit, target)}, ${figure(lean[0], 1)} s after the opening.`
    : `The middle one goes rich by ${distanceWords(-under, unit, target)}, ${figure(rich[0], 1)} s after the opening.`
}
