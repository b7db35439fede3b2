import type { MixtureState, SteadyPiece } from '../contract/result.ts'
import { stateCode, stateNames } from '../engine/operatingState.ts'
import type { PointHistory } from '../engine/pointHistory.ts'
import type { StateLimits } from '../engine/stateLimits.ts'
import type { TargetFinder, TargetNow } from '../engine/targetLambda.ts'

export interface SteadyOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly hasThrottle: () => boolean
  readonly hasPressure: () => boolean
  readonly bankCount: 1 | 2
  /** Left out after a state begins and before it ends, s: what the delay and the sensor's lag cannot resolve. */
  readonly enterEdgeS: number
  readonly leaveEdgeS: number
  /** The same after an overrun, where the exhaust is still full of air, s. */
  readonly afterOverrunS: number
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
  /** Trusted seconds of a mixture state left out for an edge. */
  readonly onEdge: (dtS: number) => void
}

/** Chosen here: a sensor's lag of a tenth of a second has died away after three times that. */
export const defaultSteadyEdges = Object.freeze({
  enterEdgeS: 0.3,
  leaveEdgeS: 0.2,
  afterOverrunS: 1,
  pieceS: 1,
})

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
const BLOCKS = 16

const mixtureByState: (MixtureState | undefined)[] = []
for (const name of ['idle', 'cruise', 'part_throttle', 'power', 'warm_up', 'running'] as const) {
  mixtureByState[stateCode[name]] = name
}

interface Sums {
  seconds: number
  startS: number
  lastS: number
  lambda: number
  rpm: number
  load: number
  map: number
  throttle: number
  coolant: number
  barometer: number
  intake: number
  weight: number
}

const emptySums = (): Sums => ({
  seconds: 0,
  startS: 0,
  lastS: 0,
  lambda: 0,
  rpm: 0,
  load: 0,
  map: 0,
  throttle: 0,
  coolant: 0,
  barometer: 0,
  intake: 0,
  weight: 0,
})

export function createSteadyCollector(options: SteadyOptions): SteadyCollector {
  const { limits, targets, bankCount } = options
  const blockS = limits.steady_s / 10
  const blockStart = new Float64Array(BLOCKS).fill(Number.NEGATIVE_INFINITY)
  const blockLeast = new Float64Array(BLOCKS)
  const blockMost = new Float64Array(BLOCKS)
  const sums = [emptySums(), emptySums()]
  const visits = new Map<number, number>()
  let block = 0
  let next = -1
  let stateNow = -1
  let before = -1
  let enteredS = Number.NaN
  let gapFromS = Number.NEGATIVE_INFINITY
  let lastS = Number.NaN
  const target: TargetNow = { lambda: Number.NaN, rich: Number.NaN, lean: Number.NaN }

  /** Travel of the signal that says "steady" over the last second, as a share of what is allowed. */
  function unrest(history: PointHistory, at: number): number {
    const t = history.timeS[at]
    const value = options.hasThrottle()
      ? history.throttlePct[at]
      : options.hasPressure()
        ? history.mapKpa[at]
        : history.rpm[at]
    if (Number.isNaN(value)) return 0
    if (t - blockStart[block] >= blockS) {
      block = (block + 1) % BLOCKS
      blockStart[block] = t
      blockLeast[block] = value
      blockMost[block] = value
    } else {
      if (value < blockLeast[block]) blockLeast[block] = value
      if (value > blockMost[block]) blockMost[block] = value
    }
    const sinceS = t - limits.steady_s - 0.5 * blockS
    let least = value
    let most = value
    for (let i = 0; i < BLOCKS; i++) {
      if (blockStart[i] < sinceS) continue
      if (blockLeast[i] < least) least = blockLeast[i]
      if (blockMost[i] > most) most = blockMost[i]
    }
    if (options.hasThrottle()) return (most - least) / limits.steady_pct
    return (most - least) / (options.hasPressure() ? STEADY_KPA : STEADY_RPM_SHARE * value)
  }

  function closePiece(bank: number, state: MixtureState): void {
    const s = sums[bank]
    if (s.weight > 0 && s.seconds > 0) {
      const w = s.weight
      options.onPiece({
        bank: bank === 0 ? 1 : 2,
        state,
        visit: visits.get(stateNow) ?? 0,
        timeS: (s.startS + s.lastS) / 2,
        seconds: s.seconds,
        lambda: s.lambda / w,
        rpm: s.rpm / w,
        load: s.load / w,
        manifoldKpa: s.map / w,
        throttlePct: s.throttle / w,
        coolantC: s.coolant / w,
        barometerKpa: s.barometer / w,
        intakeAirC: s.intake / w,
      })
    }
    Object.assign(s, emptySums())
  }

  function closeAll(): void {
    const name = mixtureByState[stateNow]
    if (!name) return
    for (let bank = 0; bank < bankCount; bank++) closePiece(bank, name)
  }

  function addTo(history: PointHistory, n: number, bank: 0 | 1, dtS: number): void {
    const at = n & history.mask
    const lambda = history.lambda[bank][at]
    if (!(lambda < MOST_LAMBDA)) return
    const s = sums[bank]
    const t = history.timeS[at]
    if (s.weight > 0 && (t - s.lastS > 0.3 || t - s.startS >= options.pieceS))
      closePiece(bank, mixtureByState[stateNow]!)
    if (s.weight === 0) s.startS = t
    s.lastS = t
    s.seconds += dtS
    s.weight += dtS
    s.lambda += lambda * dtS
    s.rpm += history.rpm[at] * dtS
    s.load += history.load[at] * dtS
    s.map += history.mapKpa[at] * dtS
    s.throttle += history.throttlePct[at] * dtS
    s.coolant += history.coolantC[at] * dtS
    s.barometer += history.barometerKpa[at] * dtS
    s.intake += history.intakeAirC[at] * dtS
    options.onSteady(history, n, bank, dtS, target.lambda)
  }

  function evaluate(history: PointHistory, n: number, stateAhead: number): void {
    const at = n & history.mask
    const t = history.timeS[at]
    const state = history.state[at]
    const dtS = history.afterGap[at] === 1 || !(lastS < t) ? 0 : t - lastS
    lastS = t
    if (state !== stateNow || history.afterGap[at] === 1) {
      closeAll()
      before = history.afterGap[at] === 1 ? -1 : stateNow
      stateNow = state
      enteredS = t
      visits.set(state, (visits.get(state) ?? -1) + 1)
    }
    const moved = unrest(history, at)
    collector.isSteady = false
    if (mixtureByState[state] === undefined) {
      collector.whyNot = stateNames[state]?.replace('_', '-') ?? ''
      return
    }
    const edgeS = before === stateCode.overrun ? options.afterOverrunS : options.enterEdgeS
    const isEdge = t - enteredS < edgeS || stateAhead !== state || t - gapFromS < options.enterEdgeS
    const isTrusted = !Number.isNaN(history.lambda[0][at]) || !Number.isNaN(history.lambda[1][at])
    if (isEdge) {
      if (isTrusted) options.onEdge(dtS)
      collector.whyNot = 'state just changed'
      return
    }
    if (moved > 1) {
      collector.whyNot = 'throttle is moving'
      return
    }
    if (!isTrusted) {
      collector.whyNot = 'no trusted reading'
      return
    }
    collector.isSteady = true
    collector.whyNot = ''
    targets.find(target, state, history.coolantC[at])
    addTo(history, n, 0, dtS)
    if (bankCount === 2) addTo(history, n, 1, dtS)
  }

  const collector: SteadyCollector = {
    isSteady: false,
    whyNot: 'starting',
    point(history, n) {
      if (next < 0) next = n
      if (next < history.first) next = history.first
      const nowS = history.timeS[n & history.mask]
      const stateAhead = history.state[n & history.mask]
      while (next < n && nowS - history.timeS[next & history.mask] >= options.leaveEdgeS) {
        evaluate(history, next, stateAhead)
        next++
      }
    },
    gap() {
      closeAll()
      stateNow = -1
      next = -1
      gapFromS = lastS
    },
    finish: closeAll,
  }
  return collector
}
