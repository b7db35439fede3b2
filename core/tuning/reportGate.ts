import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import { type CircuitVerdict, verdictWords } from './circuitVerdict.ts'
import { GATE_RANGE, hasPosts } from './gateScale.ts'
import { escapeHtml } from './reportText.ts'

const WIDTH = 240
const HEIGHT = 40
const MIDDLE = 15
const HATCH_SPACING = 5

/**
 * One circuit's gate as an SVG: two posts for the allowed band, empty when on target; too much fuel a thick hatched block from the
 * left post with a rounded end, too little a thin dotted line from the right post with a point; under it the estimate and its 95 % interval.
 * Side, thickness, texture and end tell the same as colour, so it reads in grey. `range`: the scale to either side, λ.
 */
export function gateSvg(row: CircuitVerdict, unit: MixtureUnit, range = GATE_RANGE): string {
  const label = escapeHtml(gateWords(row, unit))
  const open = `<svg class="gate" viewBox="0 0 ${WIDTH} ${HEIGHT}" role="img" aria-label="${label}">`
  if (!hasPosts(row)) {
    return `${open}<line x1="4" y1="${MIDDLE}" x2="${WIDTH - 4}" y2="${MIDDLE}" class="strip"/></svg>`
  }
  const x = (error: number) =>
    ((Math.max(-range, Math.min(range, error)) + range) / (2 * range)) * (WIDTH - 8) + 4
  const left = x(-row.bandRich)
  const right = x(row.bandLean)
  const parts = [
    `<line x1="4" y1="${MIDDLE}" x2="${n(left)}" y2="${MIDDLE}" class="strip"/>`,
    `<line x1="${n(right)}" y1="${MIDDLE}" x2="${WIDTH - 4}" y2="${MIDDLE}" class="strip"/>`,
  ]
  if (row.verdict === 'rich' && row.error < -row.bandRich) parts.push(richBlock(x(row.error), left))
  if (row.verdict === 'lean' && row.error > row.bandLean) parts.push(leanLine(right, x(row.error)))
  for (const post of [left, right]) {
    parts.push(`<line x1="${n(post)}" y1="1" x2="${n(post)}" y2="29" class="post"/>`)
  }
  if (Number.isFinite(row.error)) {
    const at = x(row.error)
    if (Number.isFinite(row.half95)) {
      parts.push(
        `<line x1="${n(x(row.error - row.half95))}" y1="35" x2="${n(x(row.error + row.half95))}" y2="35" class="interval"/>`,
      )
    }
    parts.push(`<line x1="${n(at)}" y1="31" x2="${n(at)}" y2="39" class="interval"/>`)
  }
  return `${open}${parts.join('')}</svg>`
}

/** What the picture says, for those who hear it. */
export function gateWords(row: CircuitVerdict, unit: MixtureUnit): string {
  if (row.verdict === 'not_enough_data') return `${row.name}: not enough data`
  const half = doubtOf(row, unit)
  const side = row.error < 0 ? 'richer' : 'leaner'
  const error = Number.isFinite(row.error)
    ? `, ${unit.symbol} ${distanceWords(row.error, unit, row.target, 1)} ${side} than its target${half ? ` plus or minus ${half}` : ''}`
    : ''
  return `${row.name}: ${verdictIn(row, unit)}${error}`
}

/** The verdict with its distance in the unit shown. */
export function verdictIn(row: CircuitVerdict, unit: MixtureUnit): string {
  return verdictWords(row, (error) => distanceWords(error, unit, row.target))
}

/** Half width of its 95 % interval in the unit shown, empty when there is none. */
export function doubtOf(row: CircuitVerdict, unit: MixtureUnit): string {
  return Number.isFinite(row.half95) ? distanceWords(row.half95, unit, row.target, 1) : ''
}

function richBlock(from: number, to: number): string {
  const end = Math.max(0.5, to - from)
  const top = MIDDLE - 9
  const lines: string[] = []
  // Hatching as plain lines cut to the block: print engines differ on patterns.
  for (let at = from - 18; at < to; at += HATCH_SPACING) {
    const x1 = Math.max(from + 1, at)
    const y1 = top + 18 - (x1 - at)
    const x2 = Math.min(to - 1, at + 18)
    const y2 = top + 18 - (x2 - at)
    if (x2 > x1) lines.push(`<line x1="${n(x1)}" y1="${n(y1)}" x2="${n(x2)}" y2="${n(y2)}" class="hatch"/>`)
  }
  const r = Math.min(8, end / 2)
  const outline =
    `M${n(to)} ${top}H${n(from + r)}A${n(r)} ${n(r)} 0 0 0 ${n(from)} ${n(top + r)}` +
    `V${n(top + 18 - r)}A${n(r)} ${n(r)} 0 0 0 ${n(from + r)} ${top + 18}H${n(to)}Z`
  return `${lines.join('')}<path d="${outline}" class="rich"/>`
}

function leanLine(from: number, to: number): string {
  const tip = Math.max(from + 9, to)
  const dots: string[] = []
  for (let at = from + 5; at < tip - 9; at += 7) {
    dots.push(`<circle cx="${n(at)}" cy="${MIDDLE}" r="2" class="lean"/>`)
  }
  return `${dots.join('')}<path d="M${n(tip - 8)} ${MIDDLE - 5}L${n(tip)} ${MIDDLE}L${n(tip - 8)} ${MIDDLE + 5}Z" class="lean"/>`
}

/** Coordinates with two decimals keep the page small. */
function n(value: number): string {
  return String(Math.round(value * 100) / 100)
}
