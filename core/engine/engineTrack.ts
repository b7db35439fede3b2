import type { Transient } from '../contract/result.ts'
import type { DelayLaw } from './delayLaw.ts'
import { createLambdaLayer } from './lambdaLayer.ts'
import type { CarLearner, LearnedCar } from './learnedCar.ts'
import { createStateMachine, type EnginePoint, type StateMachine, stateCode } from './operatingState.ts'
import { addPoint, createPointHistory, NOT_FINAL, type PointHistory } from './pointHistory.ts'
import { RowMemory } from './rowMemory.ts'
import { SampleGaps } from './sampleGaps.ts'
import { createSignalConditioner, type SignalConditioner } from './signalConditioner.ts'
import type { StateLimits } from './stateLimits.ts'
import { guessedLoad } from './throttleLoad.ts'
import { createTipDetector, type FastMove } from './tipDetector.ts'
import { measureTransient, type TransientOptions } from './transientMeasures.ts'

/** Raw readings of one row that the track needs; reused by the caller. NaN = missing. */
export interface TrackInput {
  timeS: number
  rpm: number
  throttlePct: number
  mapKpa: number
  barometerKpa: number
  coolantC: number
  intakeAirC: number
  roadSpeedMs: number
  secondaryPct: number
  exhaustC: number
}

export interface EngineTrackOptions {
  readonly limits: StateLimits
  readonly bankCount: 1 | 2
  /** What is known of the car now; in a second pass, what the whole run taught. */
  readonly learned: () => LearnedCar
  /** Fed with each conditioned point when given: the first pass and the live view learn, the second pass does not. */
  readonly learner?: CarLearner
  readonly law: () => DelayLaw
  readonly hasThrottle: () => boolean
  readonly hasPressure: () => boolean
  /** Default: a conditioner of its own. */
  readonly createConditioner?: (onPoint: () => void) => SignalConditioner
  readonly transients: TransientOptions
  /** A point whose state and λ are final; numbers ascend by one. */
  readonly onSettled: (history: PointHistory, n: number) => void
  readonly onTransient: (transient: Transient) => void
  readonly onGap: (startS: number, endS: number) => void
}

/**
 * Everything between raw samples and settled moments: conditioning, state, fast moves, and λ laid at its cause. Live view and result feed it the
 * same way, sample by sample.
 */
export interface EngineTrack {
  readonly history: PointHistory
  readonly machine: StateMachine
  /** Newest conditioned point. */
  readonly point: EnginePoint
  /** Usual time between samples, s. */
  readonly periodS: () => number
  /** Newest fast move that is not yet measured, if any. */
  readonly openMove: () => FastMove | undefined
  push(input: TrackInput): void
  /** A reading of λ at the time of the last `push`, or NaN and its reason. */
  addLambda(bank: 0 | 1, timeS: number, lambda: number, reason: number): void
  /** Settles what can be settled now; call after `addLambda`. */
  settle(): void
  /** Ends the run: everything left becomes final. */
  finish(): void
}

export function createEngineTrack(options: EngineTrackOptions): EngineTrack {
  const { limits, learner } = options
  const history = createPointHistory()
  const { mask, timeS: pointS, base, state } = history
  const point: EnginePoint = {
    timeS: Number.NaN,
    rpm: Number.NaN,
    throttlePct: Number.NaN,
    mapKpa: Number.NaN,
    barometerKpa: Number.NaN,
    load: Number.NaN,
    flowKpa: Number.NaN,
    coolantC: Number.NaN,
    intakeAirC: Number.NaN,
    roadSpeedMs: Number.NaN,
    secondaryPct: Number.NaN,
    exhaustC: Number.NaN,
  }
  const open: FastMove[] = []
  let input: TrackInput | undefined
  const times = new SampleGaps()
  const rows = new RowMemory()
  // What had come when points were last settled.
  let settledEnd = -1
  let settledLaid = -1
  let isAfterGap = true
  let finalNext = 0
  let settledNext = 0

  const conditioner = (options.createConditioner ?? createSignalConditioner)(takePoint)
  const machine = createStateMachine({
    limits,
    warmIdleRpm: () => options.learned().warmIdleRpm,
    hasThrottle: options.hasThrottle,
    hasPressure: options.hasPressure,
    closedLine: () => options.learned().closedLine,
    throttleNeed: () => options.learned().throttleNeed,
    onSpan: finalizeBefore,
  })
  const layer = createLambdaLayer({
    history,
    law: options.law,
    bankCount: options.bankCount,
    bridgeS: 0.2,
  })
  const tips = createTipDetector({
    history,
    limits,
    byPressure: () => !options.hasThrottle() && options.hasPressure(),
    onMove(move) {
      // The pedal of an engine that does not run moves no mixture.
      if (machine.hasFired || Number.isNaN(point.rpm)) open.push(move)
    },
    onEnd: () => {},
  })

  function takePoint(): void {
    const car = options.learned()
    const raw = input!
    point.timeS = conditioner.timeS
    point.rpm = conditioner.rpm
    point.throttlePct = conditioner.throttlePct - car.throttleRestPct
    point.mapKpa = conditioner.mapKpa
    point.barometerKpa = raw.barometerKpa > 0 ? raw.barometerKpa : car.barometerKpa
    point.load = point.mapKpa / point.barometerKpa
    point.flowKpa =
      point.mapKpa > 0
        ? point.mapKpa
        : point.barometerKpa * guessedLoad(point.rpm, point.throttlePct, car.throttleNeed, car.warmIdleRpm)
    point.coolantC = raw.coolantC
    point.intakeAirC = raw.intakeAirC
    rows.goTo(point.timeS)
    point.roadSpeedMs = rows.roadSpeedMs
    point.secondaryPct = rows.secondaryPct
    point.exhaustC = raw.exhaustC
    learner?.add(point.timeS, point.rpm, conditioner.throttlePct, point.mapKpa, point.coolantC)
    addPoint(history, point, isAfterGap)
    isAfterGap = false
    machine.push(point)
    while (finalNext < history.end && pointS[finalNext & mask] <= machine.finalS) {
      base[finalNext & mask] = machine.confirmed
      finalNext++
    }
    tips.push()
  }

  function finalizeBefore(spanState: number, _startS: number, endS: number): void {
    while (finalNext < history.end && pointS[finalNext & mask] < endS) {
      base[finalNext & mask] = spanState
      finalNext++
    }
  }

  function breakOff(endS: number): void {
    conditioner.flush()
    const confirmed = machine.confirmed
    machine.reset(times.lastS)
    while (finalNext < history.end) {
      base[finalNext & mask] = confirmed < 0 ? stateCode.running : confirmed
      finalNext++
    }
    tips.reset()
    layer.finish()
    settle(true)
    if (endS > times.lastS) options.onGap(times.lastS, endS)
    isAfterGap = true
  }

  /** Measures open moves whose λ is complete, then passes on settled points. */
  function settle(isEnd = false): void {
    const laidS = layer.next > 0 ? pointS[(layer.next - 1) & mask] : Number.NEGATIVE_INFINITY
    const decidedS = finalNext > 0 ? pointS[(finalNext - 1) & mask] : Number.NEGATIVE_INFINITY
    const readyS = Math.min(laidS, decidedS)
    while (open.length > 0) {
      const move = open[0]
      const nextStartS = open.length > 1 ? open[1].startS : Number.POSITIVE_INFINITY
      const windowEndS = Math.min(move.startS + limits.tip_most_s, nextStartS)
      if (!isEnd && !(move.isOver && readyS >= windowEndS)) break
      open.shift()
      if (move.byPressure && standsWithin(move, windowEndS)) continue
      const endS = measureTransient(
        history,
        move,
        Math.min(windowEndS, isEnd ? times.lastS : windowEndS),
        options.transients,
      )
      options.onTransient(endS.transient)
      overlay(move, endS.endS)
    }
    const untilS = isEnd
      ? Number.POSITIVE_INFINITY
      : Math.min(tips.pendingStartS(), open.length > 0 ? open[0].startS : Number.POSITIVE_INFINITY)
    const until = Math.min(finalNext, layer.next)
    while (settledNext < until && pointS[settledNext & mask] < untilS) {
      const at = settledNext & mask
      if (state[at] === NOT_FINAL) state[at] = base[at]
      options.onSettled(history, settledNext)
      settledNext++
    }
  }

  const stands = (n: number) => base[n & mask] === stateCode.off || base[n & mask] === stateCode.cranking

  /** Whether the engine starts or stops within the window of a move told by pressure: then it, not the foot, moved the pressure. */
  function standsWithin(move: FastMove, windowEndS: number): boolean {
    for (let n = Math.max(move.startPoint, history.first); n < finalNext; n++) {
      if (pointS[n & mask] > windowEndS) return false
      if (stands(n)) return true
    }
    return false
  }

  function overlay(move: FastMove, endS: number): void {
    const code = move.kind === 'tip_in' ? stateCode.tip_in : stateCode.tip_out
    for (let n = Math.max(settledNext, history.first); n < history.end; n++) {
      const t = pointS[n & mask]
      if (t >= endS) break
      if (t >= move.startS && !stands(n)) state[n & mask] = code
    }
  }

  return {
    history,
    machine,
    point,
    periodS: () => times.periodS,
    openMove: () => (open.length > 0 ? open[open.length - 1] : undefined),
    push(next) {
      if (times.isGapBefore(next.timeS)) breakOff(next.timeS)
      input = next
      times.add(next.timeS)
      rows.add(next.timeS, next.roadSpeedMs, next.secondaryPct)
      conditioner.push(next.timeS, next.rpm, next.throttlePct, next.mapKpa)
    },
    addLambda: layer.add,
    settle() {
      layer.layUntil(times.lastS)
      // Between points nothing can become final.
      if (history.end === settledEnd && layer.next === settledLaid) return
      settledEnd = history.end
      settledLaid = layer.next
      settle()
    },
    finish() {
      if (!Number.isNaN(times.lastS)) breakOff(times.lastS)
    },
  }
}
