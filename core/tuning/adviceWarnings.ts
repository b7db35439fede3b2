import type { AdviceResult, Change } from '../contract/advice.ts'
import type { Part } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { type MixtureUnit, mixtureWords } from '../units/mixtureUnit.ts'
import { partWord } from './adviceText.ts'
import { leanReadingCautions } from './cautions.ts'
import { needsWords } from './drivingWords.ts'
import { isLeakHint } from './leakLook.ts'
import type { MissingSize } from './missingSizes.ts'
import type { AdviceState } from './partPaths.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import type { ObservedRun } from './runObservations.ts'
import { sizesWord } from './sizeWords.ts'
import { stateWords } from './stateWords.ts'

interface Warned {
  model: ResponseModel
  bands: ReadonlyMap<AdviceState, Band>
  newest: ObservedRun
  next: Change | null
  /** Another step of the plan follows this one. */
  hasLater: boolean
  /** Full throttle is to be driven before anything is changed. */
  isAsked: boolean
  /** What of the box or of the record is of no use, in sentences. */
  unused: readonly string[]
  /** What brings today's log λ to home air. */
  airLogShift: number
  states: AdviceResult['states']
  missing: readonly MissingSize[]
  stuck: readonly AdviceState[]
  open: OpenPoints
  unit: MixtureUnit
}

/** What no change of a part settles, in sentences. */
export interface OpenPoints {
  /** Banks that stand on different sides of a band's edge. */
  readonly banks: readonly string[]
  readonly notJudged: readonly string[]
  /** Why nothing can be chosen for what is off, if so. */
  readonly unsized: string | undefined
  /** Where the record of parts does not fit what was measured; and whether no part can be named because of it. */
  readonly doubt: string | undefined
  readonly isDoubtful: boolean
  /** What of the earlier runs cannot be laid beside today's. */
  readonly leftOut: readonly string[]
  /** What is to be looked for before the idle circuit is touched. */
  readonly look: string | undefined
  /** What is left of a pump that the box does nothing for. */
  readonly pump: string | undefined
  /** What is left of the transfer, which no size answers for. */
  readonly transfer: string | undefined
  /** What is left of an enrichment that opens too early. */
  readonly valve: string | undefined
  /** States inside their band, but so near its edge that not even the drives asked for made it sure. */
  readonly nearEdge: readonly AdviceState[]
}

/** Log λ between the day and the home air from which it is said: more than ordinary weather moves. Chosen here. */
const FAR_FROM_HOME = 0.04

/** Less full throttle on a cold engine is not worth a word, s. */
const LEAST_COLD_S = 1

/** That the day's air was far from home's, in a sentence. `logShift` brings log λ of the day to home air. */
function airSentence(logShift: number): string[] {
  if (Math.abs(logShift) < FAR_FROM_HOME) return []
  const percent = Math.round(100 * Math.abs(Math.exp(-logShift) - 1))
  return [
    logShift < 0
      ? `All figures are for home air. Today's air was denser: in it the same parts read leaner by ${percent} %.`
      : `All figures are for home air. Today's air was thinner: in it the same parts read richer by ${percent} %.`,
  ]
}

/** That power is lean, with the danger; nothing when it is not known to be. `isAsked`: full throttle is to be driven before anything is changed. */
export function leanPowerWarning(
  states: AdviceResult['states'],
  isAsked: boolean,
  unit: MixtureUnit,
): string[] {
  const { power } = states
  if (power?.verdict !== 'lean' || power.lambda === null) return []
  const words = mixtureWords(power.lambda, unit)
  return [
    isAsked
      ? `Power may be lean: ${words}. Lean under load destroys pistons: open gently, and lift at the lean warning.`
      : `Power is lean: ${words}. Lean under load destroys pistons: no full throttle until it is put right.`,
  ]
}

/** What makes a reading doubtful: an idle that reads lean, and the hints of the trust gate. */
export function readingWarnings(
  states: AdviceResult['states'],
  run: RunAnalysis,
  areBanksSaid: boolean,
  isLeakSaid = false,
): string[] {
  const lean = states.idle?.verdict === 'lean' && !isLeakSaid ? leanReadingCautions : []
  const hints = run.result.trust.hints.filter(
    (hint) => !(areBanksSaid && hint.code === 'banks_differ') && !(isLeakSaid && isLeakHint(hint)),
  )
  return [...lean, ...hints.map((hint) => hint.text)]
}

/** What must be said besides the change: danger under load, sizes that the box lacks, hints of the trust gate. */
export function findWarnings(about: Warned): string[] {
  const { model, bands, newest, next, states, missing, stuck, open, unit } = about
  const { banks, notJudged, unsized } = open
  const warnings: string[] = [
    ...(open.look ? [open.look] : []),
    ...(open.doubt ? [open.doubt] : []),
    ...open.leftOut,
    ...(unsized ? [unsized] : []),
    ...banks,
    ...notJudged,
    ...(open.valve ? [open.valve] : []),
  ]
  const power = bands.get('power')
  const now = model.forecast('power', model.base)
  warnings.push(...leanPowerWarning(states, about.isAsked, unit))
  if (power && next) {
    const then = model.forecast('power', { ...model.base, [next.part]: next.to as Part })
    if (!then && next.direction === 'leaner' && (next.circuit === 'main' || next.circuit === 'power')) {
      warnings.push(
        'Power was not driven, and this step makes it leaner too: drive gently and watch the first openings.',
      )
    } else if (then && now && then.mean > now.mean + 0.003 && then.mean + then.sd > power.high) {
      const words = mixtureWords(Math.exp(then.mean), unit)
      const isAtLimit = words === mixtureWords(Math.exp(power.high), unit)
      const limit = `(leanest allowed: ${unit.of(Math.exp(power.high)).toFixed(unit.decimals)})`
      warnings.push(
        then.mean > power.high
          ? `Power then is about ${words} ${isAtLimit ? '(at the lean end of its band)' : limit}: ${about.hasLater ? 'drive gently until the next step is made' : 'keep off full throttle'}.`
          : `Power may then come out as lean as ${mixtureWords(Math.exp(then.mean + 1.96 * then.sd), unit)} ${limit}: open gently and look before a full pull.`,
      )
    }
  }
  for (const size of missing) warnings.push(size.text)
  warnings.push(...about.unused)
  for (const state of stuck) {
    if (missing.length === 0 && !open.isDoubtful)
      warnings.push(`Nothing in the box brings ${stateWords[state]} nearer to its band.`)
  }
  warnings.push(
    ...readingWarnings(states, newest.run, banks.length > 0, open.look !== undefined),
    ...airSentence(about.airLogShift),
  )
  warnings.push(...coldPowerSentence(states, newest.run))
  if (newest.air.source === 'unknown') {
    warnings.push(
      'The air of the day is not known: the figures allow for any ordinary weather. Note temperature and pressure.',
    )
  }
  if (Object.keys(newest.fitted).length === 0 && !unsized && !open.doubt) {
    warnings.push('Nothing is noted as fitted: without it no size can be chosen.')
  }
  return warnings
}

/** That full load was driven, but not warm, where that is why power cannot be judged. */
function coldPowerSentence({ power }: AdviceResult['states'], { result }: RunAnalysis): string[] {
  const coldS = Math.max(result.mixture.power?.cold_s ?? 0, result.mixture_2?.power?.cold_s ?? 0)
  if (coldS < LEAST_COLD_S || (power && power.verdict !== 'not_enough_data')) return []
  return [
    `Of today's full throttle ${Math.round(coldS)} s came before the engine was warm: a choke or warm-up enrichment feeds it then, so they judge no part.`,
  ]
}

interface Summed {
  done: boolean
  next: Change | null
  needs: NonNullable<AdviceResult['needs']>
  missing: readonly MissingSize[]
  stuck: readonly AdviceState[]
  /** States that are off, in words. */
  off: readonly string[]
  open: OpenPoints
}

/** The advice in one sentence. */
export function summaryOf({ done, next, needs, missing, stuck, off, open }: Summed): string {
  if (next) return changeWord(next)
  if (done) return doneWords(off, open)
  if (open.doubt && open.isDoubtful) return open.doubt
  // What is surely off and wants another size is said before what more driving would tell.
  const size = stuck.length > 0 && missing.length > 0 ? [missing[0].text] : []
  const known = open.unsized ? [open.unsized] : size
  if (needs.length > 0) return [...known, cannotTell(needs)].join(' ')
  if (open.unsized) return open.unsized
  if (size.length > 0) return size[0]
  return 'No part at hand makes it better.'
}

/** `Change main jet 71 → 69.`, of screws `Set idle mixture screws 1.5 → 1.75 turns.` */
function changeWord({ part, from, to }: Change): string {
  return from.turns !== undefined && to.turns !== undefined
    ? `Set ${partWord(part)} ${sizesWord(from, to)}.`
    : `Change ${partWord(part)} ${from.label} → ${to.label}.`
}

function doneWords(
  off: readonly string[],
  { banks, notJudged, pump, transfer, valve, nearEdge }: OpenPoints,
): string {
  const circuits = [valve, transfer, pump].filter((text) => text !== undefined)
  const more = [...notJudged, ...circuits]
  if (off.length > 0) {
    const what = `Change nothing: no fitted part moves what is still off (${off.join(', ')}).`
    return [what, ...banks, ...more].join(' ')
  }
  if (banks.length > 0) return ['Change nothing that feeds both banks.', ...banks, ...more].join(' ')
  if (notJudged.length > 0) return ['Change nothing: what was driven is where it belongs.', ...more].join(' ')
  if (circuits.length > 0)
    return ['Change nothing: every steady state is where it belongs.', ...circuits].join(' ')
  if (nearEdge.length === 0) return 'Change nothing: every state is where it belongs.'
  const names = nearEdge.map((state) => stateWords[state] ?? state).join(' and ')
  return `Change nothing: every state is where it belongs, though ${names} only just: close to the edge of the band.`
}

/** That data cannot decide, and what would help: more driving, or a channel that no driving replaces. */
export function cannotTell(needs: NonNullable<AdviceResult['needs']>): string {
  const unconnected = needs.find(({ channel }) => channel)
  return unconnected ? `Cannot tell: ${unconnected.why}.` : `Cannot tell yet. Wanted: ${needsWords(needs)}.`
}
