import type { DerivedColumns } from '../contract/derived.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import type { BoardEvent } from '../contract/samples.ts'
import { findHints } from '../engine/hints.ts'
import { measurePulls } from '../road/measurePulls.ts'
import { pullRepeat } from '../road/pullRepeat.ts'
import { channelNames, channelSlots as slot } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import { createDerivedTap, type DerivedTap } from './derivedColumns.ts'
import { describeRun, integrityOf, scorecardOf } from './describeRun.ts'
import { createRunLearner, type RunLessons } from './learnRun.ts'
import { missingChannels } from './missingChannels.ts'
import type { ReplayInput } from './replayInput.ts'
import { createRowReader, defaultRowReaderOptions } from './rowReader.ts'
import { type RunSettings, settingsOf } from './runKnowledge.ts'
import { createRunView, type RunView } from './runView.ts'
import { stateMixture } from './stateMixture.ts'

export const eventsByTime = (events: readonly BoardEvent[]) => [...events].sort((a, b) => a.timeS - b.timeS)

/** The run's result from what is kept: learns from the whole, then runs the detectors once over it with that. */
export function replayRun(input: ReplayInput): RunAnalysis {
  return replayWith(input, false).analysis
}

/** The same pass, which also gives what it made of each sample. */
export function replayWithColumns(input: ReplayInput): { analysis: RunAnalysis; columns: DerivedColumns } {
  const { analysis, tap } = replayWith(input, true)
  return { analysis, columns: tap!.columns() }
}

function replayWith(input: ReplayInput, taps: boolean): { analysis: RunAnalysis; tap?: DerivedTap } {
  const { known, stores, targets } = input
  const settings = settingsOf(known, targets)
  const main = input.main ?? emptyStore
  const others = stores.filter((store) => store !== main)
  const events = eventsByTime(input.events)
  const rows = main.end - main.first
  const learner = input.learner ?? createRunLearner({ others, settings, events, rows })
  learner.advance(main)
  const lessons = learner.lessons(known)
  const tap = taps
    ? createDerivedTap(main, hasBank2(lessons.present) ? 2 : 1, settings.fuel.stoichiometricRatio)
    : undefined
  const view = replay(events, main, others, settings, lessons, tap)
  const { findings } = view
  const result: AnalysisResult = {
    format: 'floatbowl-result 1',
    run: describeRun(input, main, lessons),
    channels_used: channelNames.filter((_, i) => lessons.present[i] === 1),
    missing: missingChannels(lessons.present, known, lessons.learned),
    integrity: integrityOf(input, stores, findings),
    trust: { untrusted_s: findings.untrustedS, hints: [] },
    delay: {
      a_s: lessons.delay.aS,
      b_s_rpm_kPa: lessons.delay.bSRpmKpa,
      events_used: lessons.delay.eventsUsed,
      sensor_lag_s: lessons.delay.sensorLagS,
      flow: lessons.delay.flow,
    },
    states: findings.spans,
    mixture: stateMixture(view, 1, settings, lessons.present),
    map: findings.maps[0].toMap(),
    warm_up: view.warmUp.result(),
    transients: findings.transients,
    alarms: [...findings.alarms].sort((a, b) => a.start_s - b.start_s),
    pulls: measurePulls(view.pulls.pulls, {
      car: known.car,
      air: known.air,
      powerTargetLambda: settings.targets.targets.power.lambda,
      ...(input.road ? { gradePct: input.road.gradePct } : {}),
    }),
    coverage: view.coverageItems(),
    scorecard: {
      on_target_share: null,
      stumbles_per_100_tip_ins: null,
      self_idle_s: null,
      economy: null,
      peak_kW: null,
      spent: null,
    },
  }
  if (hasBank2(lessons.present)) {
    result.mixture_2 = stateMixture(view, 2, settings, lessons.present)
    result.map_2 = findings.maps[1].toMap()
  }
  const repeat = pullRepeat(result.pulls)
  if (repeat) result.pull_repeat = repeat
  result.trust.hints = findHints({
    result,
    pieces: findings.pieces,
    gains: settings.gains,
    cylinders: known.car?.engine?.cylinders,
    bankName: known.car?.sensor?.bank_names?.[0],
  })
  result.scorecard = scorecardOf(result)
  const analysis = {
    result,
    pieces: findings.pieces,
    startMs: known.startMs,
    ...(known.car ? { car: known.car } : {}),
  }
  return { analysis, ...(tap ? { tap } : {}) }
}

const emptyStore: ColumnStore = {
  source: 0,
  first: 0,
  end: 0,
  dropped: 0,
  timeS: new Float64Array(0),
  columns: [],
  slots: [],
  stepBySlot: new Float64Array(channelNames.length),
  otherChannels: new Set(),
  outOfOrder: 0,
  vacuumDeclared: false,
}

const hasBank2 = (present: Uint8Array) => present[slot.pump_current_2] === 1 || present[slot.lambda_2] === 1

function replay(
  events: readonly BoardEvent[],
  main: ColumnStore,
  others: readonly ColumnStore[],
  settings: RunSettings,
  { learned, delay, present, prepared }: RunLessons,
  tap: DerivedTap | undefined,
): RunView {
  const view = createRunView({
    ...settings,
    bankCount: hasBank2(present) ? 2 : 1,
    hasThrottle: () => present[slot.throttle] === 1,
    hasPressure: () => present[slot.manifold_pressure] === 1,
    learned: () => learned,
    law: () => delay,
    sensorLagS: () => delay.sensorLagS,
    keeps: true,
    ...(prepared ? { prepared } : {}),
    ...(tap ? { onPoint: tap.point } : {}),
  })
  const reader = createRowReader(others, {
    ...defaultRowReaderOptions,
    barometerKpa: learned.barometerKpa,
    inputs: settings.inputs,
  })
  let next = 0
  for (let i = main.first; i < main.end; i++) {
    const t = main.timeS[i]
    while (next < events.length && events[next].timeS <= t) {
      view.event(events[next].timeS, events[next].code)
      next++
    }
    reader.read(main, i)
    view.row(reader.row)
    tap?.row(reader.row, view)
  }
  view.finish()
  return view
}
