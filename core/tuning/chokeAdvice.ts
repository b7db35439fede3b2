import type { Change, PartSize } from '../contract/advice.ts'
import { type Box, defaultTargets, type Fitted, type Part } from '../contract/car.ts'
import type { WarmUp } from '../contract/result.ts'
import { sentenceStart } from '../units/format.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

const words = {
  early: 'The choke comes off too early: lean and unsteady while cold.',
  late: 'The choke comes off too late: rich and steady though the engine needs it no more.',
}

/** The newest warm-up that was driven with today's setting of this part, among those that tell of it; undefined when none was seen. */
export function warmUpOfToday(observed: readonly ObservedRun[], part: string): WarmUp | undefined {
  const now = observed[observed.length - 1].fitted[part]
  const isToday = (then: Part | undefined) =>
    now === undefined || then === undefined || isSameFitted({ [part]: now }, { [part]: then })
  const told = observed.findLast(({ run, fitted }) => {
    const verdict = run.result.warm_up?.choke
    return verdict !== undefined && verdict !== 'unknown' && isToday(fitted[part])
  })
  return told?.run.result.warm_up ?? undefined
}

/** What that warm-up says of the choke, or of what an injection has in its place; undefined when none was seen, or it was fine. */
export function judgeChoke(observed: readonly ObservedRun[], part = 'choke'): 'early' | 'late' | undefined {
  const told = warmUpOfToday(observed, part)?.choke
  return told === 'early' || told === 'late' ? told : undefined
}

/** Coolant, °C, between which a warm-up is held against its target to reckon notches. Chosen here. */
const RECKON_FROM_C = 20
const RECKON_TO_C = 60
/** What one notch moves λ of the warm-up by, before this car has told its own, and what may be learned. Common practice, no source. */
const NOTCH_LAMBDA = 0.03
const LEAST_NOTCH_LAMBDA = 0.015
const MOST_NOTCH_LAMBDA = 0.06
/** A warm-up that is driven reads leaner than one at idle: this share of the band over its target is left of a choke that opens early. Chosen here. */
const LEFT_SHARE = 0.5
/** Most notches at once. Chosen here. */
const MOST_NOTCHES = 3

/** Mean λ of a warm-up over its target; NaN where too little of it was seen. */
function warmUpOff({ run }: ObservedRun): number {
  const rows = (run.result.warm_up?.lambda_by_coolant ?? []).filter(
    ([coolantC]) => coolantC >= RECKON_FROM_C && coolantC <= RECKON_TO_C,
  )
  return rows.reduce((sum, [, lambda, target]) => sum + lambda - target, 0) / rows.length
}

/** How many notches the warm-ups ask for: as far as λ is off, by what a notch did to this car before. */
function notchesOf(verdict: 'early' | 'late', fitted: Fitted, observed: readonly ObservedRun[]): number {
  const told = observed.filter((entry) => Number.isFinite(warmUpOff(entry)))
  const now = notchOf(fitted.choke ?? { label: '' })
  const today = told.findLast((entry) => notchOf(entry.fitted.choke ?? { label: '' }) === now)
  if (!today) return 1
  const off = warmUpOff(today) * (verdict === 'early' ? 1 : -1)
  const other = told.findLast((entry) => {
    const notch = notchOf(entry.fitted.choke ?? { label: '' })
    return now !== undefined && notch !== undefined && notch !== now
  })
  const moved = other
    ? (warmUpOff(other) - warmUpOff(today)) / (now! - notchOf(other.fitted.choke!)!)
    : NOTCH_LAMBDA
  const each = Math.min(MOST_NOTCH_LAMBDA, Math.max(LEAST_NOTCH_LAMBDA, moved))
  const left = verdict === 'early' ? LEFT_SHARE * defaultTargets.warm_up.lean : 0
  return Math.max(1, Math.min(MOST_NOTCHES, Math.floor((off - left) / each + 1e-6)))
}

/** Notches of the choke the way its warm-up asks for, from the box when it lists settings: judged last, since the idle circuit feeds the cold engine too. */
export function adviseChoke(
  verdict: 'early' | 'late' | undefined,
  fitted: Fitted,
  box: Box,
  observed: readonly ObservedRun[] = [],
): Change | undefined {
  if (!verdict) return undefined
  const notches = notchesOf(verdict, fitted, observed)
  const word = notches === 1 ? 'one notch' : `${notches} notches`
  const direction = verdict === 'early' ? 'richer' : 'leaner'
  const from = fitted.choke ?? { label: 'as set' }
  const to = nextNotch(from, box.choke ?? [], direction, notches) ?? { label: `${word} ${direction}` }
  return {
    circuit: 'choke',
    part: 'choke',
    direction,
    from,
    to,
    area_factor: null,
    expected_lambda: null,
    expected_ci95: null,
    because: [
      words[verdict],
      `${sentenceStart(word)} ${direction}, then another cold start: the choke is set last, since idle feeds the cold engine too.`,
    ],
  }
}

function nextNotch(
  from: PartSize,
  settings: readonly Part[],
  direction: string,
  notches: number,
): Part | undefined {
  const now = notchOf(from)
  if (now === undefined) return undefined
  const sign = direction === 'richer' ? 1 : -1
  const beyond = settings.filter((part) => (notchOf(part) ?? now) * sign > now * sign)
  beyond.sort((a, b) => (notchOf(a)! - notchOf(b)!) * sign)
  const within = beyond.filter((part) => (notchOf(part)! - now) * sign <= notches)
  return within.at(-1) ?? beyond[0]
}

/** Notches richer than the mark, negative for leaner; undefined for a setting without a figure. */
function notchOf(part: PartSize): number | undefined {
  return typeof part.notch === 'number' ? part.notch : undefined
}

/** The choke's verdict in one sentence, for the pages. */
export function chokeNote(verdict: 'early' | 'late' | undefined): {
  choke?: { verdict: string; text: string }
} {
  if (!verdict) return {}
  const way = verdict === 'early' ? 'richer' : 'leaner'
  return { choke: { verdict, text: `${words[verdict]} Set it ${way}, last of all.` } }
}
