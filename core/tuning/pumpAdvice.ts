import type { Change } from '../contract/advice.ts'
import type { Box, Fitted, Part } from '../contract/car.ts'
import type { TransientPattern } from '../contract/result.ts'
import { sentenceStart } from '../units/format.ts'
import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import { ACCELERATION } from './injectionNumbers.ts'
import { isSamePart, openingOf } from './partPaths.ts'
import { curedPatternOf, type PumpVerdict, patternWords } from './pumpVerdict.ts'

interface Remedy {
  part: string
  direction: 'richer' | 'leaner'
  /** True: more opening, volume or stiffness. */
  more: boolean
  words: string
}

/** First change for each pattern, then what to try when the box has none. Source: common practice, no source. */
const remedies: Readonly<Partial<Record<TransientPattern, readonly Remedy[]>>> = {
  lean_at_once: [
    {
      part: 'squirter',
      direction: 'richer',
      more: true,
      words: 'a larger squirter bore brings the shot sooner and thicker',
    },
    { part: 'pump_cam', direction: 'richer', more: true, words: 'a cam with more early stroke sends more' },
  ],
  lean_later: [
    { part: 'pump_cam', direction: 'richer', more: true, words: 'more pump volume makes the shot last' },
    {
      part: 'squirter',
      direction: 'leaner',
      more: false,
      words: 'a smaller squirter bore stretches the shot',
    },
  ],
  rich: [
    { part: 'squirter', direction: 'leaner', more: false, words: 'a smaller squirter bore thins the shot' },
    { part: 'pump_cam', direction: 'leaner', more: false, words: 'a cam with less stroke sends less' },
  ],
  lean_then_rich: [
    {
      part: 'pump_cam',
      direction: 'leaner',
      more: false,
      words: 'an earlier cam with a smaller shot starts sooner and sends less',
    },
    { part: 'squirter', direction: 'leaner', more: false, words: 'a smaller squirter bore thins the shot' },
  ],
  lean_at_secondary: [
    {
      part: 'opening_spring',
      direction: 'richer',
      more: true,
      words: 'a stiffer opening spring lets the flow follow',
    },
  ],
}

/** What may be changed first. */
function remediesFor(pump: PumpVerdict): readonly Remedy[] {
  const pattern = curedPatternOf(pump)
  return (pattern && remedies[pattern]) ?? []
}

/**
 * The next change of the pump circuit, from the pattern of the tip-ins; undefined when they are fine, too few, or the box has nothing
 * for it. `earlier` are the parts of the runs before, oldest first: a size that was fitted and left is not proposed again.
 */
export function advisePump(
  verdict: PumpVerdict,
  fitted: Fitted,
  box: Box,
  earlier: readonly Fitted[],
  unit: MixtureUnit,
): Change | undefined {
  if (!verdict.pattern || (verdict.verdict !== 'lean' && verdict.verdict !== 'rich')) return undefined
  for (const remedy of remediesFor(verdict)) {
    const now = fitted[remedy.part]
    if (!now) continue
    const to = nextSize(now, box[remedy.part] ?? [], remedy, verdict, earlier)
    if (!to) continue
    const factor = openingOf(to, 'cruise') / openingOf(now, 'cruise')
    return {
      circuit: remedy.part === 'opening_spring' ? 'secondary' : 'pump',
      part: remedy.part,
      direction: remedy.direction,
      from: now,
      to,
      area_factor: Number.isFinite(factor) ? Math.round(factor * 1000) / 1000 : null,
      expected_lambda: null,
      expected_ci95: null,
      because: [
        countSentence(verdict, verdict.pattern, unit),
        `${sentenceStart(remedy.words)}.`,
        ...(verdict.pattern === 'lean_at_once' ? [LASH_FIRST] : []),
        ...(isOrdered(now, to) ? [] : [unorderedSentence(remedy, to)]),
      ],
    }
  }
  return undefined
}

/** Slack in the lever delays the shot whatever its size. Common practice, no source. */
const LASH_FIRST = 'First look for slack in the pump lever, and that the squirter gives a full stream.'

/** `6 of 7 throttle openings go lean, most of them at once, by λ 0.17, 0.2 s after the throttle opened.` */
export function countSentence(
  { tipIns, count, all, peak, afterS }: PumpVerdict,
  pattern: TransientPattern,
  unit: MixtureUnit,
): string {
  const word = patternWords[pattern]
  const side = word.split(/[ ,]/)[0]
  const how =
    count === all
      ? `${all} of ${tipIns} throttle openings go ${word}`
      : `${all} of ${tipIns} throttle openings go ${side}, ${2 * count > all ? 'most' : `${count}`} of them${word.slice(side.length)}`
  const size = peak === null ? '' : `, by ${unit.symbol} ${distanceWords(peak, unit)}`
  const time = afterS === null || peak === null ? '' : `, ${afterS.toFixed(1)} s after the throttle opened`
  return `${how}${size}${time}.`
}

/** What tells which of two is the larger: a figure that both have. */
const isOrdered = (now: Part, to: Part) =>
  Number.isFinite(figureOf(to, now)) && Number.isFinite(figureOf(now, now))

/** Labels are a maker's code: of what has no figure nobody knows which is the larger. */
function unorderedSentence({ part, more }: Remedy, to: Part): string {
  const [figure, larger, smaller] =
    part === 'opening_spring'
      ? ['stiffness', 'stiffer', 'softer']
      : [part === 'squirter' ? 'bore' : 'volume', 'larger', 'smaller']
  return `No ${figure} is noted: make sure that ${to.label} is the ${more ? larger : smaller} one.`
}

/** What is left to say of a pump that the box does nothing for, once the steady mixture is right. */
export function pumpRemark(
  verdict: PumpVerdict,
  fitted: Fitted,
  earlier: readonly Fitted[],
): string | undefined {
  if (!verdict.pattern || (verdict.verdict !== 'lean' && verdict.verdict !== 'rich')) return undefined
  const options = remediesFor(verdict)
  if (options.length === 0) return undefined
  const known = options.filter(({ part }) => fitted[part])
  const how = `Throttle openings go ${patternWords[verdict.pattern]} (${verdict.all} of ${verdict.tipIns})`
  const words = (known.length > 0 ? known : options).map((remedy) => remedy.words).join(', or ')
  if (known.length === 0) return `${how}: ${words}. No such part is noted as fitted.`
  const wasTried = known.some(({ part }) =>
    earlier.some((set) => set[part] && !isSamePart(set[part], fitted[part])),
  )
  return wasTried
    ? `${how}, with every size tried that the box has for it.`
    : `${how}: ${words}; nothing in the box does that.`
}

/** Time with openings that a new part of the pump waits for, s. Chosen here. */
const OPENINGS_S = 20
const pumpParts = ['squirter', 'pump_cam', 'opening_spring', ACCELERATION]

/** Openings to be driven before a part of the pump that was just changed may be called right; undefined when enough were seen, or were asked for before. */
export function openingsNeeded(
  verdict: PumpVerdict,
  fitted: readonly Fitted[],
): { state: string; seconds: number; why: string } | undefined {
  const [before, now] = fitted.slice(-2)
  if (verdict.verdict !== 'not_enough_data' || !now) return undefined
  const changed = pumpParts.find((part) => before[part] && now[part] && !isSamePart(before[part], now[part]))
  if (!changed) return undefined
  const seen = verdict.tipIns === 0 ? 'no warm opening tells' : `only ${verdict.tipIns} warm openings tell`
  return { state: 'tip_in', seconds: OPENINGS_S, why: `${seen} of the new ${changed.replaceAll('_', ' ')}` }
}

/** What orders a part among others of its kind: stiffness, volume or opening; NaN for a label alone. */
function figureOf(part: Part, now: Part): number {
  if (typeof part.stiffness === 'number') return part.stiffness
  const isVolume = part.volume_ml !== undefined && now.volume_ml !== undefined
  return isVolume ? part.volume_ml! : openingOf(part, 'cruise')
}

/** Area per step that a λ peak asks for: 1 % more bore area for each 0.01 λ, held to the sizes at hand. Common practice, no source. */
const AREA_PER_PEAK = 1.2

function nextSize(
  now: Part,
  sizes: readonly Part[],
  remedy: Remedy,
  verdict: PumpVerdict,
  earlier: readonly Fitted[],
): Part | undefined {
  const figure = (part: Part) => figureOf(part, now)
  const at = figure(now)
  const usable = sizes.filter((part) => {
    if (isSamePart(part, now)) return false
    if (earlier.some((fitted) => isSamePart(fitted[remedy.part], part))) return false
    const size = figure(part)
    // Springs and cams without a figure cannot be ordered: the first of the box is offered.
    if (!Number.isFinite(size) || !Number.isFinite(at)) return true
    return remedy.more ? size > at * 1.001 : size < at * 0.999
  })
  if (usable.length === 0) return undefined
  const wanted =
    at * (1 + (remedy.more ? 1 : -1) * AREA_PER_PEAK * Math.min(0.4, Math.abs(verdict.peak ?? 0.12)))
  const distance = (part: Part) => {
    const size = figure(part)
    return Number.isFinite(size) ? Math.abs(Math.log(size / wanted)) : 1
  }
  return usable.reduce((a, b) => (distance(b) < distance(a) ? b : a))
}
