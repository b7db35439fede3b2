import type { MixtureState, SteadyPiece } from '../contract/result.ts'
import { stateCode, stateNames } from '../engine/operatingState.ts'
import type { PointHistory } from '../engine/pointHistory.ts'
import type { StateLimits } from '../engine/stateLimits.ts'
import type { TargetFinder, TargetNow } from '../engine/targetLambda.ts'
import { addMoment, emptySums, pieceOf } from './pieceSums.ts'
import { createTravel } from './travel.ts'

export interface SteadyOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly hasThrottle: () => boolean
  readonly hasPressure: () => boolean
  readonly bankCount: 1 | 2
  /**
   * Not read after a state begins and before it ends, s, where what came before or comes after is another mixture altogether: what the delay and
   * the sensor's lag cannot resolve. Those moments are steady all the same: the nearest piece of the visit stands for them.
   */
  readonly enterEdgeS: number
  readonly leaveEdgeS: number
  /** The same after an overrun at the most, s: the exhaust is still full of air until λ stops falling. */
  readonly afterOverrunS: number
  /** Not read so long after the first fire, s: the exhaust is still full of the air of cranking, and cold, so that little gas moves it. */
  readonly afterStartS: number
  /** Longest piece, s. */
  readonly pieceS: number
  readonly onPiece: (piece: SteadyPiece) => void
  /** Every accepted moment, for sums that need no pieces. */
  readonly onSteady: (
    history: PointHistory,
    n: number,
    bank: 0 | 1,
    dtS: number,
    targetLambda: number,
  ) => void
  /** Steady seconds of a state, by bank (0 or 1), for which no piece stands and that may be unlike those read. */
  readonly onUnread: (state: number, bank: number, seconds: number) => void
  /** Trusted seconds of a mixture state left out for an edge. */
  readonly onEdge: (dtS: number) => void
}

/** Chosen here: a sensor's lag of a tenth of a second has died away after three times that. */
export const defaultSteadyEdges = Object.freeze({
  enterEdgeS: 0.3,
  leaveEdgeS: 0.2,
  afterOverrunS: 1,
  afterStartS: 4,
  pieceS: 1,
})

/** Why nothing is steady yet: no moment has been judged, so that no operating state is known either. */
export const NOTHING_JUDGED = 'starting'

/** Cuts the steady, trusted parts of each state out of the settled points. */
export interface SteadyCollector {
  point(history: PointHistory, n: number): void
  /** Whether the newest point was steady, and if not, why. */
  isSteady: boolean
  whyNot: string
  gap(): void
  finish(): void
}

/** Without a throttle: pressure steady within this, kPa; without both: speed within this share. */
const STEADY_KPA = 6
const STEADY_RPM_SHARE = 0.06
const MOST_LAMBDA = 1.6
/** A piece stands for no more than this of its visit's unread moments on either side, s: chosen here, the slow wander is slower. */
const MOST_STAND_IN_S = 2
/** Of a longer unread stretch so much may be unlike the rest, s: the mixture settles after a start or an overrun. Chosen here. */
const MOST_UNLIKE_S = 6
/**
 * The gas of idle's last moments is still in the pipe when what follows drives it out and mixes with it: it went its way at another pace than that of
 * so many s before, by more than this factor. No gas is awaited longer than so many s. Chosen here.
 */
const PACE_S = 1
const EVEN_FLOW = 1.2
const MOST_PIPE_S = 2
/** So near to a limit of load, or to the throttle's travel in a second as a share of its limit, another judge may see it otherwise. */
const DOUBT_LOAD = 0.012
const DOUBT_UNREST = 0.8

const mixtureByState: (MixtureState | undefined)[] = []
for (const name of ['idle', 'cruise', 'part_throttle', 'power', 'warm_up', 'running'] as const) {
  mixtureByState[stateCode[name]] = name
}

/** Between these the mixture goes over steadily with load: their edges can be read. */
const isLoaded: boolean[] = []
for (const name of ['cruise', 'part_throttle', 'power', 'warm_up', 'running'] as const) {
  isLoaded[stateCode[name]] = true
}
/** λ that changes by less than this over `leaveEdgeS` has stopped falling after an overrun; chosen here. */
const AIR_GONE_LAMBDA = 0.03
const isTip = (state: number) => state === stateCode.tip_in || state === stateCode.tip_out

export function createSteadyCollector(options: SteadyOptions): SteadyCollector {
  const { limits, targets, bankCount } = options
  const travel = createTravel(limits.steady_s)
  const sums = [emptySums(), emptySums()]
  /** Steady seconds of this visit that could not be read since it was last read, by bank. */
  const unreadS = new Float64Array(2)
  const visits = new Map<number, number>()
  /** Exhaust flow figure of the visit's last moments; a field of an object, so that no number is boxed at each point. */
  const pace = { flow: Number.NaN }
  let next = -1
  let ahead = -1
  let stateNow = -1
  let before = -1
  let enteredS = Number.NaN
  let gapFromS = Number.NEGATIVE_INFINITY
  let crankedS = Number.NEGATIVE_INFINITY
  let lastS = Number.NaN
  const target: TargetNow = { lambda: Number.NaN, rich: Number.NaN, lean: Number.NaN }

  /** Travel of the signal that says "steady" over the last second, as a share of what is allowed. */
  function unrest(history: PointHistory, at: number): number {
    const t = history.timeS[at]
    if (options.hasThrottle()) return travel.over(t, history.throttlePct[at]) / limits.steady_pct
    if (options.hasPressure()) return travel.over(t, history.mapKpa[at]) / STEADY_KPA
    const rpm = history.rpm[at]
    return travel.over(t, rpm) / (Number.isNaN(rpm) ? 1 : STEADY_RPM_SHARE * rpm)
  }

  /** Of the unread seconds before or after a piece those that it stands for. */
  function standIn(bank: number): number {
    const nearS = Math.min(MOST_STAND_IN_S, unreadS[bank])
    leaveUnread(bank, unreadS[bank] - nearS)
    unreadS[bank] = 0
    return nearS
  }

  function leaveUnread(bank: number, seconds: number): void {
    if (seconds > 0) options.onUnread(stateNow, bank, Math.min(MOST_UNLIKE_S, seconds))
  }

  function closePiece(bank: number, state: MixtureState): void {
    const s = sums[bank]
    if (s.weight > 0 && s.seconds > 0) {
      s.standsForS += standIn(bank)
      options.onPiece(pieceOf(s, bank === 0 ? 1 : 2, state, visits.get(stateNow) ?? 0))
    }
    Object.assign(s, emptySums())
  }

  function closeAll(): void {
    const name = mixtureByState[stateNow]
    if (!name) return
    for (let bank = 0; bank < bankCount; bank++) {
      closePiece(bank, name)
      leaveUnread(bank, unreadS[bank])
    }
    unreadS.fill(0)
  }

  /** Whether a moment's λ may belong to what came before the visit, or to what comes after it. */
  function isEdgeOf(state: number, t: number, stateAhead: number, isFalling: boolean): boolean {
    if (t - gapFromS < options.enterEdgeS || t - crankedS < options.afterStartS) return true
    if (stateAhead !== state && !(isLoaded[state] && isLoaded[stateAhead])) return true
    if (before === stateCode.overrun && isFalling && t - enteredS < options.afterOverrunS) return true
    if (isLoaded[state] && isLoaded[before]) return false
    // After a fast move the throttle has been still for a second.
    if (isTip(before) && options.hasThrottle()) return false
    return t - enteredS < options.enterEdgeS
  }

  /** Whether another judge may count this steady moment to another state, or not as steady. */
  function isDoubtful(state: number, load: number, moved: number): boolean {
    if (moved > DOUBT_UNREST) return true
    if (!isLoaded[state]) return !options.hasThrottle()
    if (!options.hasPressure() || !options.hasThrottle()) return true
    return Math.abs(load - limits.cruise_load) < DOUBT_LOAD || Math.abs(load - limits.power_load) < DOUBT_LOAD
  }

  function addTo(history: PointHistory, n: number, bank: 0 | 1, dtS: number, isInDoubt: boolean): void {
    const at = n & history.mask
    const lambda = history.lambda[bank][at]
    if (!(lambda < MOST_LAMBDA)) {
      unreadS[bank] += dtS
      return
    }
    const s = sums[bank]
    const t = history.timeS[at]
    if (s.weight > 0 && (t - s.lastS > 0.3 || t - s.startS >= options.pieceS))
      closePiece(bank, mixtureByState[stateNow]!)
    addMoment(s, history, at, lambda, dtS, standIn(bank), isInDoubt)
    options.onSteady(history, n, bank, dtS, target.lambda)
  }

  /** After an overrun, until λ stops falling; also while it cannot be read. */
  function isAirLeft(history: PointHistory, at: number, ahead: number): boolean {
    if (before !== stateCode.overrun) return false
    const [one, two] = history.lambda
    const now = Number.isNaN(one[at]) ? two[at] : one[at]
    const later = Number.isNaN(one[ahead]) ? two[ahead] : one[ahead]
    return !(Math.abs(now - later) < AIR_GONE_LAMBDA)
  }

  /** Whether the gas of a moment went all its way to the sensor at the pace of the time before. */
  function isFlowEven({ timeS, flowSum }: PointHistory, at: number, arrival: number): boolean {
    const onTheWay = (flowSum[arrival] - flowSum[at]) / (timeS[arrival] - timeS[at])
    return onTheWay < EVEN_FLOW * pace.flow && pace.flow < EVEN_FLOW * onTheWay
  }

  function keepPace({ flowRate }: PointHistory, at: number, dtS: number): void {
    const share = Math.min(1, dtS / PACE_S)
    pace.flow = Number.isNaN(pace.flow) ? flowRate[at] : pace.flow + share * (flowRate[at] - pace.flow)
  }

  /** Judges a point; `ahead` is the place of the one the leaving edge after it, `arrival` of the one at which its gas is read. */
  function evaluate(history: PointHistory, n: number, ahead: number, arrival: number): void {
    const at = n & history.mask
    const stateAhead = history.state[ahead]
    const t = history.timeS[at]
    const state = history.state[at]
    const dtS = history.afterGap[at] === 1 || !(lastS < t) ? 0 : t - lastS
    lastS = t
    if (state !== stateNow || history.afterGap[at] === 1) {
      closeAll()
      before = history.afterGap[at] === 1 ? -1 : stateNow
      stateNow = state
      enteredS = t
      pace.flow = Number.NaN
      visits.set(state, (visits.get(state) ?? -1) + 1)
    }
    if (state === stateCode.cranking || state === stateCode.off) crankedS = t
    keepPace(history, at, dtS)
    const moved = unrest(history, at)
    collector.isSteady = false
    if (mixtureByState[state] === undefined) {
      collector.whyNot = stateNames[state]?.replace('_', '-') ?? ''
      return
    }
    const isTrusted = !Number.isNaN(history.lambda[0][at]) || !Number.isNaN(history.lambda[1][at])
    const isStill = isLoaded[state] || (history.state[arrival] === state && isFlowEven(history, at, arrival))
    const isEdge = !isStill || isEdgeOf(state, t, stateAhead, isAirLeft(history, at, ahead))
    if (isEdge && isTrusted) options.onEdge(dtS)
    if (moved > 1) {
      collector.whyNot = isEdge ? 'state just changed' : 'throttle is moving'
      return
    }
    if (isEdge || !isTrusted) {
      collector.whyNot = isEdge ? 'state just changed' : 'no trusted reading'
      for (let bank = 0; bank < bankCount; bank++) {
        // The first mixture after a start is like none of later.
        if (t - crankedS < options.afterStartS) leaveUnread(bank, dtS)
        else unreadS[bank] += dtS
      }
      return
    }
    collector.isSteady = true
    collector.whyNot = ''
    targets.find(target, state, history.coolantC[at])
    const isInDoubt = isDoubtful(state, history.load[at], moved)
    addTo(history, n, 0, dtS, isInDoubt)
    if (bankCount === 2) addTo(history, n, 1, dtS, isInDoubt)
  }

  const collector: SteadyCollector = {
    isSteady: false,
    whyNot: NOTHING_JUDGED,
    point(history, n) {
      if (next < 0) next = n
      if (next < history.first) next = history.first
      const { mask, timeS, state, arrivalS } = history
      const nowS = timeS[n & mask]
      while (next < n) {
        const at = next & mask
        const t = timeS[at]
        const isIdle = mixtureByState[state[at]] !== undefined && !isLoaded[state[at]]
        if (nowS - t < options.leaveEdgeS || (isIdle && nowS < Math.min(arrivalS[at], t + MOST_PIPE_S)))
          return
        if (ahead < next) ahead = next
        while (timeS[ahead & mask] - t < options.leaveEdgeS) ahead++
        evaluate(history, next, ahead & mask, isIdle ? n & mask : ahead & mask)
        next++
      }
    },
    gap() {
      closeAll()
      unreadS.fill(0)
      stateNow = -1
      next = -1
      gapFromS = lastS
    },
    finish: closeAll,
  }
  return collector
}
