import type { CoverageItem } from '../contract/result.ts'
import type { AlarmLimits } from '../engine/alarmLimits.ts'
import type { Alarms } from '../engine/alarms.ts'
import { type Coverage, createCoverage } from '../engine/coverage.ts'
import type { DelayLaw } from '../engine/delayLaw.ts'
import { createEngineTrack, type EngineTrack, type TrackInput } from '../engine/engineTrack.ts'
import { type LambdaStage, tellStages } from '../engine/lambdaStage.ts'
import type { CarLearner, LearnedCar } from '../engine/learnedCar.ts'
import { stateCode, stateNames } from '../engine/operatingState.ts'
import type { PointHistory } from '../engine/pointHistory.ts'
import type { StateLimits } from '../engine/stateLimits.ts'
import type { TargetFinder, TargetNow } from '../engine/targetLambda.ts'
import { defaultTransientLimits } from '../engine/transientPattern.ts'
import { createWarmUp, type WarmUpTracker } from '../engine/warmUp.ts'
import { createPullFinder, type PullFinder } from '../road/pulls.ts'
import type { SensorCurve } from '../sensing/sensorCurve.ts'
import { createSteadyCollector, defaultSteadyEdges, type SteadyCollector } from '../tuning/steadyPieces.ts'
import { createAlarmFeed } from './alarmFeed.ts'
import { channelSlots as slot } from './channels.ts'
import type { InputSettings } from './inputTransfers.ts'
import { createLambdaFeed } from './lambdaFeed.ts'
import type { PreparedRows } from './preparedRows.ts'
import type { Row } from './rowReader.ts'
import { countUntrusted, createRunFindings, type RunFindings } from './runFindings.ts'

/** Everything a pass over the rows needs to know beforehand. */
export interface RunViewOptions {
  readonly limits: StateLimits
  readonly targets: TargetFinder
  readonly alarmLimits: AlarmLimits
  readonly sensor: SensorCurve
  readonly gains: readonly [number, number]
  /** Standard uncertainty of a λ that comes as a voltage, by bank. */
  readonly outputUncertainty?: InputSettings['outputUncertainty']
  readonly bankCount: 1 | 2
  readonly hasThrottle: () => boolean
  readonly hasPressure: () => boolean
  readonly learned: () => LearnedCar
  readonly learner?: CarLearner
  readonly law: () => DelayLaw
  readonly sensorLagS: () => number
  /** The car has secondary barrels, by its parts or its profile. */
  readonly hasSecondaries: boolean
  readonly thermostatC: number
  /** False for the live view: nothing is collected that grows with the run. */
  readonly keeps: boolean
  /** What an earlier pass over the same rows has worked out already. */
  readonly prepared?: PreparedRows
  /** Called for each settled moment, for columns of the whole run. */
  readonly onPoint?: (history: PointHistory, n: number) => void
}

/** One pass over rows: live, it runs along; for a result, it runs again over what was kept, with what the run taught. */
export interface RunView {
  readonly track: EngineTrack
  readonly stages: readonly [LambdaStage, LambdaStage]
  readonly alarms: Alarms
  readonly warmUp: WarmUpTracker
  readonly coverage: Coverage
  readonly pulls: PullFinder
  readonly steady: SteadyCollector
  readonly findings: RunFindings
  /** Time of the newest row; and of the newest trusted λ by bank. */
  readonly newestS: () => number
  readonly newestLambda: readonly [Float64Array, Float64Array]
  /** Candidate state now, with a fast move under way counted. */
  stateNow(): number
  coverageItems(): CoverageItem[]
  row(row: Row): void
  event(timeS: number, code: string): void
  advance(timeS: number): void
  finish(): void
}

export function createRunView(options: RunViewOptions): RunView {
  const { limits, targets, keeps, bankCount } = options
  const findings = createRunFindings(
    options.hasPressure() ? 'manifold_pressure' : options.hasThrottle() ? 'throttle' : 'none',
  )
  const coverage = createCoverage()
  const warmUp = createWarmUp({
    limits,
    targets,
    thermostatC: options.thermostatC,
    warmIdleRpm: () => options.learned().warmIdleRpm,
  })
  const pulls = createPullFinder({
    keeps,
    hasThrottle: options.hasThrottle,
    onPull(coolantC) {
      // What a cold engine is fed at full load answers no question of the test drive.
      if (!(coolantC < limits.warm_C)) coverage.pull()
    },
  })
  const target: TargetNow = { lambda: Number.NaN, rich: Number.NaN, lean: Number.NaN }

  const steady = createSteadyCollector({
    limits,
    targets,
    hasThrottle: options.hasThrottle,
    hasPressure: options.hasPressure,
    bankCount,
    ...defaultSteadyEdges,
    onPiece(piece) {
      if (keeps) findings.pieces.push(piece)
    },
    onSteady(history, n, bank, dtS, targetLambda) {
      const at = n & history.mask
      const state = history.state[at]
      if (bank === 0) coverage.steady(state, history.rpm[at], history.roadSpeedMs[at], dtS)
      if (!keeps) return
      const lambda = history.lambda[bank][at]
      targets.find(target, state, history.coolantC[at])
      findings.spreads[bank][state].add(lambda, dtS, target.lambda, target.rich, target.lean)
      findings.maps[bank].add(
        history.rpm[at],
        history.load[at],
        history.throttlePct[at],
        lambda,
        targetLambda,
        dtS,
      )
    },
    onUnread(state, bank, seconds) {
      findings.unreadS[bank][state] += seconds
    },
    onEdge(dtS) {
      findings.untrustedS.delay_edge += dtS
    },
  })

  let spanState = -1
  // Fields of an object, so that no number is boxed at each row.
  const last = {
    spanStartS: Number.NaN,
    settledS: Number.NaN,
    newestS: Number.NaN,
  }

  function closeSpan(endS: number): void {
    if (spanState >= 0 && endS > last.spanStartS && keeps) {
      findings.spans.push({ state: stateNames[spanState], start_s: last.spanStartS, end_s: endS })
    }
    spanState = -1
  }

  function onSettled(history: PointHistory, n: number): void {
    const at = n & history.mask
    const t = history.timeS[at]
    const state = history.state[at]
    const dtS = history.afterGap[at] === 1 || !(t > last.settledS) ? 0 : t - last.settledS
    last.settledS = t
    if (state !== spanState) {
      closeSpan(t)
      spanState = state
      last.spanStartS = t
    }
    countUntrusted(findings, state, history.reason[0][at], dtS)
    coverage.state(state, dtS)
    warmUp.point(history, n, dtS)
    pulls.point(history, n)
    steady.point(history, n)
    options.onPoint?.(history, n)
  }

  const track = createEngineTrack({
    limits,
    bankCount,
    learned: options.learned,
    learner: options.learner,
    law: options.law,
    hasThrottle: options.hasThrottle,
    hasPressure: options.hasPressure,
    ...(options.prepared ? { createConditioner: options.prepared.conditioner } : {}),
    transients: {
      targets,
      settleLambda: limits.settle_lambda,
      limits: defaultTransientLimits,
      sensorLagS: options.sensorLagS,
      hasSecondaries: options.hasSecondaries,
      warmIdleRpm: () => options.learned().warmIdleRpm,
    },
    onSettled,
    onTransient(transient) {
      coverage.transient(transient)
      if (keeps) findings.transients.push(transient)
    },
    onGap(startS, endS) {
      closeSpan(startS)
      steady.gap()
      pulls.gap()
      warmUp.gap(startS, endS)
      findings.untrustedS.gap += endS - startS
      if (keeps) findings.gaps.push({ start_s: startS, end_s: endS })
    },
  })

  const lambdas = createLambdaFeed({ ...options, onLambda: track.addLambda })
  const input: TrackInput = {
    timeS: Number.NaN,
    rpm: Number.NaN,
    throttlePct: Number.NaN,
    mapKpa: Number.NaN,
    barometerKpa: Number.NaN,
    coolantC: Number.NaN,
    intakeAirC: Number.NaN,
    roadSpeedMs: Number.NaN,
    secondaryPct: Number.NaN,
    exhaustC: Number.NaN,
  }
  const alarmFeed = createAlarmFeed({
    ...options,
    track,
    stages: lambdas.stages,
    newestLambda: lambdas.newest,
    isSteady: () => steady.isSteady,
    onAlarm(entry) {
      if (keeps) findings.alarms.push(entry)
    },
  })
  const { alarms } = alarmFeed

  return {
    track,
    stages: lambdas.stages,
    alarms,
    warmUp,
    coverage,
    pulls,
    steady,
    findings,
    newestS: () => last.newestS,
    newestLambda: lambdas.newest,
    stateNow() {
      const move = track.openMove()
      if (move && last.newestS - move.endS < 0.5)
        return move.kind === 'tip_in' ? stateCode.tip_in : stateCode.tip_out
      return track.machine.candidate
    },
    coverageItems: coverage.items,
    row(row) {
      const { value, timeS } = row
      last.newestS = timeS
      input.timeS = timeS
      input.rpm = value[slot.engine_speed]
      input.throttlePct = value[slot.throttle]
      input.mapKpa = value[slot.manifold_pressure]
      input.barometerKpa = value[slot.barometer]
      input.coolantC = value[slot.coolant]
      input.intakeAirC = value[slot.intake_air]
      input.roadSpeedMs = value[slot.road_speed]
      input.secondaryPct = value[slot.secondary]
      input.exhaustC = value[slot.exhaust_temperature]
      track.push(input)
      lambdas.read(row, 0)
      if (bankCount === 2) lambdas.read(row, 1)
      track.settle()
      alarmFeed.step(row)
    },
    event(timeS, code) {
      tellStages(lambdas.stages, timeS, code)
    },
    advance: alarms.advance,
    finish() {
      track.finish()
      closeSpan(last.settledS)
      steady.finish()
      pulls.gap()
      warmUp.finish()
      alarms.finish(last.newestS)
    },
  }
}
