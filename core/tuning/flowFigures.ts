import type { Box, Fitted, Part } from '../contract/car.ts'
import { partWord } from './adviceText.ts'
import { boreOfAreaMm, jetAreaMm2 } from './jetArea.ts'

/**
 * How much two jets of one box may differ in area for each unit of flow. A bore gauged by a drill is known to some 2 %, its area to 4 %, and the
 * discharge coefficient of one maker's jets differs by a few: common practice, no source.
 */
const MOST_APART = 1.15
/** Digits kept of a bore that was reckoned from a flow, 1/mm. */
const DIGITS = 1e4

/** What a flow figure is worth in area, and the jets that told it. */
export interface AreaPerFlow {
  /** Area, mm², for each unit of flow; NaN when two jets tell it differently. */
  readonly mm2PerFlow: number
  /** Labels of the jets of which both figures are known; of two that do not fit each other, those two. */
  readonly labels: readonly string[]
}

/**
 * Area for each unit of flow, from the parts of which both are known; undefined without any. A flow is a discharge coefficient times an area, at
 * a head and with a fluid that only its maker knows: figures of one maker can be ordered among themselves, and turned into bores by one jet that has both.
 */
export function areaPerFlow(parts: readonly Part[]): AreaPerFlow | undefined {
  const known = parts
    .flatMap(({ label, bore_mm, flow, bore_by }) =>
      bore_mm !== undefined && flow !== undefined && bore_by === undefined
        ? [{ label, ratio: jetAreaMm2(bore_mm) / flow }]
        : [],
    )
    .sort((a, b) => a.ratio - b.ratio)
  if (known.length === 0) return undefined
  const [least, most] = [known[0], known[known.length - 1]]
  if (most.ratio > MOST_APART * least.ratio)
    return { mm2PerFlow: Number.NaN, labels: [...new Set([least.label, most.label])].sort() }
  const mean = known.reduce((sum, { ratio }) => sum + Math.log(ratio), 0) / known.length
  return { mm2PerFlow: Math.exp(mean), labels: [...new Set(known.map(({ label }) => label))] }
}

/** Box and sets of parts in one figure, as far as that can be known. */
export interface OneFigure {
  readonly box: Box
  readonly sets: readonly Fitted[]
  /** Worth of a flow figure by part name, where bores and flows meet. */
  readonly ratios: ReadonlyMap<string, AreaPerFlow>
}

/**
 * Gives the parts that are noted by flow alone a bore, where others of their name are noted by bore and at least one by both. Such a bore is marked
 * `bore_by: 'flow'`. Where all are noted by flow nothing needs turning.
 */
export function inOneFigure(givenBox: Box, givenSets: readonly Fitted[]): OneFigure {
  // What was reckoned before from other jets is reckoned anew.
  const box: Box = mapEach(givenBox, (list) => list.map(asNoted))
  const sets = givenSets.map((set): Fitted => mapEach(set, asNoted))
  const ratios = new Map<string, AreaPerFlow>()
  for (const name of new Set([...Object.keys(box), ...sets.flatMap((set) => Object.keys(set))])) {
    const parts = [...(box[name] ?? []), ...sets.flatMap((set) => (set[name] ? [set[name]] : []))]
    const isMixed = parts.some(isByFlow) && parts.some(({ bore_mm }) => bore_mm !== undefined)
    const ratio = isMixed ? areaPerFlow(parts) : undefined
    if (ratio) ratios.set(name, ratio)
  }
  const turned = (name: string, part: Part): Part => {
    const mm2 = isByFlow(part) ? part.flow! * (ratios.get(name)?.mm2PerFlow ?? Number.NaN) : Number.NaN
    if (!(mm2 > 0)) return part
    return { ...part, bore_mm: Math.round(boreOfAreaMm(mm2) * DIGITS) / DIGITS, bore_by: 'flow' }
  }
  return {
    ratios,
    box: mapEach(box, (list, name) => list.map((part) => turned(name, part))),
    sets: sets.map((set) => mapEach(set, (part, name) => turned(name, part))),
  }
}

const mapEach = <T>(
  record: Readonly<Record<string, T>>,
  of: (value: T, name: string) => T,
): Record<string, T> =>
  Object.fromEntries(Object.entries(record).map(([name, value]) => [name, of(value, name)]))

const isByFlow = ({ flow, bore_mm }: Part) => flow !== undefined && bore_mm === undefined

/** True for a part whose bore was reckoned from its flow. */
export const hasReckonedBore = (part: Readonly<Record<string, unknown>>) => part.bore_by === 'flow'

/** The part as its owner noted it, without a bore that was reckoned. */
export function asNoted(part: Part): Part {
  if (!hasReckonedBore(part)) return part
  const { bore_mm: _, bore_by: __, ...noted } = part
  return noted as Part
}

/** That a size was reckoned, and by what, in a sentence; undefined for sizes that were noted. */
export function reckonedSentence(
  part: string,
  sizes: readonly Part[],
  ratios: ReadonlyMap<string, AreaPerFlow>,
): string | undefined {
  const reckoned = sizes.filter(hasReckonedBore).map(({ label }) => label)
  const labels = ratios.get(part)?.labels ?? []
  if (reckoned.length === 0 || labels.length === 0) return undefined
  const are = reckoned.length > 1 ? 'are reckoned from their flows' : 'is reckoned from its flow'
  return `The area of ${reckoned.join(' and ')} ${are} by ${labels.join(' and ')}, of which both figures are known.`
}

/** How a bore is measured without more than the trade has. */
const BY_DRILL = 'by the number drill that just goes in'

/**
 * Why sizes of the box cannot be put beside the fitted part, and the one measurement that would change it, in a sentence; undefined where they can, or
 * there are none.
 */
export function unmatchedSentence(part: string, now: Part, sizes: readonly Part[]): string | undefined {
  const name = partWord(part)
  if (sizes.length === 0 || now.turns !== undefined) return undefined
  const isByBore = ({ bore_mm, flow }: Part) => bore_mm !== undefined && flow === undefined
  if (isByBore(now) && sizes.every(isByFlow))
    return `The fitted ${name} is noted by its bore, the box gives its ${name}s by flow, and no one has both. Measure the bore of one of them ${BY_DRILL}, and note it beside its flow: the others follow from it.`
  if (isByFlow(now) && sizes.every(isByBore))
    return `The fitted ${name} is noted by its flow, those of the box by bores, and no one has both. Measure the bore of the fitted one ${BY_DRILL}, and note it beside its flow.`
  return undefined
}

/** Jets whose two figures do not fit each other, in sentences. */
export function clashSentences(ratios: ReadonlyMap<string, AreaPerFlow>): string[] {
  return [...ratios]
    .filter(([, { mm2PerFlow }]) => Number.isNaN(mm2PerFlow))
    .map(([part, { labels }]) => {
      const which = `${partWord(part)} ${labels.join(' and ')}`
      return `Bore and flow of ${which} do not fit each other: measure again. Until then flows of this part are not put beside bores.`
    })
}
