import type { Change, PartSize } from '../contract/advice.ts'
import type { Box, Fitted, Part } from '../contract/car.ts'
import { isSameFitted, type ObservedRun } from './runObservations.ts'

const words = {
  early: 'The choke comes off too early: lean and unsteady while cold.',
  late: 'The choke comes off too late: rich and steady while warm already.',
}

/** What the newest warm-up with today's choke setting says of it; undefined when none was seen, or it was fine. */
export function judgeChoke(observed: readonly ObservedRun[]): 'early' | 'late' | undefined {
  const { choke } = observed[observed.length - 1].fitted
  const isToday = (fitted: Fitted) =>
    choke === undefined || fitted.choke === undefined || isSameFitted({ choke }, { choke: fitted.choke })
  const told = observed.findLast(({ run, fitted }) => {
    const verdict = run.result.warm_up?.choke
    return verdict !== undefined && verdict !== 'unknown' && isToday(fitted)
  })?.run.result.warm_up?.choke
  return told === 'early' || told === 'late' ? told : undefined
}

/** One notch of the choke the way its warm-up asks for, from the box when it lists settings: judged last, since the idle circuit feeds the cold engine too. */
export function adviseChoke(
  verdict: 'early' | 'late' | undefined,
  fitted: Fitted,
  box: Box,
): Change | undefined {
  if (!verdict) return undefined
  const direction = verdict === 'early' ? 'richer' : 'leaner'
  const from = fitted.choke ?? { label: 'as set' }
  const to = nextNotch(from, box.choke ?? [], direction) ?? { label: `one notch ${direction}` }
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
      `One notch ${direction}, then another cold start: the choke is set last, since idle feeds the cold engine too.`,
    ],
  }
}

function nextNotch(from: PartSize, settings: readonly Part[], direction: string): Part | undefined {
  const now = notchOf(from)
  if (now === undefined) return undefined
  const sign = direction === 'richer' ? 1 : -1
  const beyond = settings.filter((part) => (notchOf(part) ?? now) * sign > now * sign)
  beyond.sort((a, b) => (notchOf(a)! - notchOf(b)!) * sign)
  return beyond[0]
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
  return { choke: { verdict, text: `${words[verdict]} Set it one notch ${way}, last of all.` } }
}
