import { defaultTargets } from '../core/contract/car.ts'
import { type OperatingState, operatingStates, type TransientPattern } from '../core/contract/result.ts'
import { findThrottleMoves, type ThrottleMove, tipLimits } from './throttleMoves.ts'
import { stateIndex } from './trueStates.ts'
import type { TruthEvent } from './truth.ts'

/** True columns of a run. `state` is changed: transients are written into it. */
export interface TransientInput {
  timeS: Float64Array
  state: Uint8Array
  lambda: Float32Array
  settled: Float32Array
  throttlePct: Float32Array
  rpm: Float32Array
  secondary: Float32Array
  gear: Float32Array
  coolantC: Float32Array
}

const tipIn = stateIndex('tip_in')
const tipOut = stateIndex('tip_out')
const longestS = 3
const recoveredWithin = 0.03
/** Limits of the pattern table, and by how much they are moved to see which openings lie near them. */
const leanOver = 0.1
const limitMargin = 0.01
const richUnder = 0.12
const richForS = 0.5
/** To go lean at once, λ must rise by this over what it was before; after an overrun, which is no mixture, what was drawn in before this does not count, s. */
const risesBy = 0.03
const airS = 0.1
const mostMixture = 1.6
const atOnceS = 0.3
const laterS = 1.5
/** How long an opening's mixture is watched. */
const watchedS = 2.5
const stumbleS = 0.25
const shortestArrivalS = 1
/** How long after the throttle's move a sag still belongs to it. */
const stumbleAfterS = 0.6

const running = new Set<OperatingState>(['warm_up', 'idle', 'cruise', 'part_throttle', 'power', 'overrun'])

/** Measures each fast opening and closing on the true mixture and writes tip-in and tip-out into the states. */
export function judgeTransients(input: TransientInput): TruthEvent[] {
  const { timeS, state } = input
  const moves = findThrottleMoves(timeS, input.throttlePct)
  const plain = state.slice()
  const events: TruthEvent[] = []
  const periodS = timeS.length > 1 ? timeS[1] - timeS[0] : 1
  for (let m = 0; m < moves.length; m++) {
    const move = moves[m]
    const start = move.startIndex
    const fromState = operatingStates[plain[Math.max(start - 1, 0)]]
    if (!running.has(fromState)) continue
    const next = moves[m + 1]?.startIndex ?? timeS.length
    const limit = Math.min(timeS.length - 1, start + Math.round(longestS / periodS), next)
    const end = recoveryIndex(input, move, limit)
    const size = Math.abs(move.toPct - move.fromPct)
    const isTransient = move.ratePctS > tipLimits.ratePctS && size > tipLimits.sizePct
    const event: TruthEvent = {
      kind: move.opening ? 'tip_in' : 'tip_out',
      startS: timeS[start],
      endS: timeS[move.endIndex],
      fromPct: move.fromPct,
      toPct: move.toPct,
      ratePctS: move.ratePctS,
      borderline: nearLimit(move.ratePctS, tipLimits.ratePctS) || nearLimit(size, tipLimits.sizePct),
      fromState,
      toState: operatingStates[plain[Math.min(end + 1, plain.length - 1)]],
      rpm: input.rpm[start],
      coolantC: input.coolantC[start],
    }
    if (!isTransient && !event.borderline) continue
    if (move.opening) measureOpening(input, move, limit, event)
    events.push(event)
    if (isTransient) state.fill(move.opening ? tipIn : tipOut, start, end + 1)
  }
  return events
}

function nearLimit(value: number, limit: number): boolean {
  return Math.abs(value / limit - 1) <= tipLimits.borderline
}

/** First index after the move from which λ stays within 0.03 of its settled value for a fifth of a second. */
function recoveryIndex(input: TransientInput, move: ThrottleMove, limit: number): number {
  const { lambda, settled, timeS } = input
  let since = -1
  for (let i = move.endIndex; i < limit; i++) {
    const bothDry = !Number.isFinite(lambda[i]) && !Number.isFinite(settled[i])
    if (!bothDry && !(Math.abs(lambda[i] - settled[i]) < recoveredWithin)) since = -1
    else if (since < 0) since = i
    if (since >= 0 && timeS[i] - timeS[since] > 0.2) return since
  }
  return limit
}

function measureOpening(input: TransientInput, move: ThrottleMove, limit: number, event: TruthEvent): void {
  const { timeS, lambda, settled, secondary } = input
  const start = move.startIndex
  const t0 = timeS[start]
  let settledSum = 0
  let settledCount = 0
  let least = Number.POSITIVE_INFINITY
  let most = Number.NEGATIVE_INFINITY
  let secondaryMost = 0
  let stop = start
  for (; stop < limit && timeS[stop] - t0 <= watchedS; stop++) {
    const t = timeS[stop] - t0
    if (lambda[stop] > most) {
      most = lambda[stop]
      event.leanPeakAfterS = t
    }
    if (lambda[stop] < least) {
      least = lambda[stop]
      event.richPeakAfterS = t
    }
    if (stop > move.endIndex && Number.isFinite(settled[stop])) {
      settledSum += settled[stop]
      settledCount++
    }
    if (secondary[stop] > secondaryMost) secondaryMost = secondary[stop]
  }
  event.leanPeak = most
  event.richPeak = least
  event.settledLambda =
    settledCount > 0 ? settledSum / settledCount : settled[Math.min(move.endIndex, settled.length - 1)]
  event.secondariesOpened = secondary[start] < 0.02 && secondaryMost > 0.1
  const settledTo = event.settledLambda
  const settledFrom = Number.isFinite(settled[start]) ? settled[start] : settledTo
  // A short blip arrives at no state: it is held against where its mixture would settle.
  const arrives = timeS[limit] - t0 > shortestArrivalS
  const targetTo = arrives ? targetOf(event.toState, settledTo) : settledTo
  // Out of an overrun the engine passes through light load.
  const targetFrom = targetOf(event.fromState === 'overrun' ? 'cruise' : event.fromState, targetTo)
  const lambdaBefore = input.lambda[Math.max(0, start - 1)]
  const was = event.fromState !== 'overrun' && lambdaBefore < mostMixture ? lambdaBefore : Number.NaN
  const tell = (wantedFrom: number, wantedTo: number, shift = 0) =>
    pattern(
      input,
      start,
      stop,
      { from: wantedFrom, to: wantedTo, was },
      event.secondariesOpened === true,
      shift,
    )
  event.pattern = tell(targetFrom, targetTo)
  event.patternSure = [-limitMargin, limitMargin].every(
    (shift) => tell(targetFrom, targetTo, shift) === event.pattern,
  )
  event.patternSettled = tell(settledFrom, settledTo)
  event.stumble = sagged(input, start, limit, move.endIndex)
}

function targetOf(state: OperatingState | undefined, otherwise: number): number {
  return state !== undefined && state in defaultTargets
    ? defaultTargets[state as keyof typeof defaultTargets].lambda
    : otherwise
}

/**
 * The row of the table that the cylinders' λ fits. The wanted λ goes from that of the state left to that of the state arrived at:
 * within the first 0.3 s neither is held against the mixture, nor is what it was before (`was`, NaN after an overrun).
 */
function pattern(
  input: TransientInput,
  start: number,
  stop: number,
  { from, to, was }: { from: number; to: number; was: number },
  secondariesOpened: boolean,
  shift: number,
): TransientPattern {
  const { timeS, lambda, secondary } = input
  const t0 = timeS[start]
  let leanAtOnce = false
  let leanLater = false
  let leanAtSecondary = false
  let firstLeanS = Number.POSITIVE_INFINITY
  let richSinceS = Number.NaN
  let richFromS = Number.NaN
  for (let i = start; i < stop; i++) {
    const t = timeS[i] - t0
    const isFirst = t <= atOnceS
    // Behind rich jets a thin shot shows as a leap over what it was and over where it goes.
    const rise = Number.isNaN(was) ? 0 : lambda[i] - was
    const over = isFirst
      ? Math.max(lambda[i] - Math.max(from, to), Math.min(lambda[i] - to, rise))
      : lambda[i] - to
    const richest = isFirst ? Math.min(from, to) : to
    // A mixture that was lean before, or the air of an overrun, does not go lean.
    const hasRisen = !isFirst || (Number.isNaN(was) ? t > airS : lambda[i] > was + risesBy)
    if (over > leanOver + shift && hasRisen && t <= laterS) {
      if (t < firstLeanS) firstLeanS = t
      if (t <= atOnceS) leanAtOnce = true
      else leanLater = true
      if (secondariesOpened && secondary[i] > 0.02) leanAtSecondary = true
    }
    if (lambda[i] - richest < -richUnder - shift) {
      if (Number.isNaN(richSinceS)) richSinceS = t
      if (t - richSinceS > richForS && Number.isNaN(richFromS)) richFromS = richSinceS
    } else richSinceS = Number.NaN
  }
  const lean = leanAtOnce || leanLater
  if (lean && richFromS > firstLeanS) return 'lean_then_rich'
  if (leanAtSecondary && !leanAtOnce) return 'lean_at_secondary'
  if (leanAtOnce) return 'lean_at_once'
  if (leanLater) return 'lean_later'
  return richFromS >= 0 ? 'rich' : 'clean'
}

/** Engine speed falls or stays flat for over a quarter second, in one gear, while the throttle opens or just after. */
function sagged(input: TransientInput, start: number, limit: number, moveEnd: number): boolean {
  const { timeS, rpm, throttlePct, gear } = input
  if (gear[start] === 0) return false
  let since = start
  for (let i = start + 1; i < limit; i++) {
    if (timeS[i] - timeS[moveEnd] > stumbleAfterS || gear[i] !== gear[start]) return false
    if (rpm[i] > rpm[since] * 1.0008 || throttlePct[i] < throttlePct[start] + 4) since = i
    else if (timeS[i] - timeS[since] > stumbleS) return true
  }
  return false
}
