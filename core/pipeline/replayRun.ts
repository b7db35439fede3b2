import type { Targets } from '../contract/car.ts'
import type { DerivedColumns } from '../contract/derived.ts'
import type { TimedRecord } from '../contract/records.ts'
import type { AnalysisResult, Mixture, MixtureState, RunAnalysis } from '../contract/result.ts'
import { mixtureStates } from '../contract/result.ts'
import type { BoardEvent, LineCounts } from '../contract/samples.ts'
import { findHints } from '../engine/hints.ts'
import { stateCode } from '../engine/operatingState.ts'
import { measurePulls } from '../road/measurePulls.ts'
import { pullRepeat } from '../road/pullRepeat.ts'
import { createDistance, type RoadTrack } from '../road/roadTrack.ts'
import { gainUncertainty } from '../sensing/freeAir.ts'
import { lambdaUncertainty } from '../sensing/lambdaUncertainty.ts'
import { summariseMixture } from '../tuning/mixture.ts'
import { channelNames, channelSlots as slot } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import { createDerivedTap, type DerivedTap } from './derivedColumns.ts'
import { createRunLearner, type RunLearner, type RunLessons } from './learnRun.ts'
import { missingChannels } from './missingChannels.ts'
import { createRowReader, defaultRowReaderOptions } from './rowReader.ts'
import { type RunKnowledge, type RunSettings, settingsOf } from './runKnowledge.ts'
import { createRunView, type RunView } from './runView.ts'

/** What the reader of the lines knows beside the samples. */
export interface ReplayExtras {
  readonly counts?: LineCounts
  readonly tornEnd?: boolean
  readonly file?: string
}

export interface ReplayInput extends ReplayExtras {
  readonly stores: readonly ColumnStore[]
  readonly main: ColumnStore | undefined
  readonly known: RunKnowledge
  readonly records: readonly TimedRecord[]
  readonly events: readonly BoardEvent[]
  readonly targets?: Targets | undefined
  /** A first pass over the main source's rows that has begun already, under the settings that follow from what is known. */
  readonly learner?: RunLearner
  /** Heights of the road, where a position receiver told them. */
  readonly road?: RoadTrack
}

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
    integrity: integrityOf(input, stores, view),
    trust: { untrusted_s: findings.untrustedS, hints: [] },
    delay: {
      a_s: lessons.delay.aS,
      b_s_rpm_kPa: lessons.delay.bSRpmKpa,
      events_used: lessons.delay.eventsUsed,
      sensor_lag_s: lessons.delay.sensorLagS,
      flow: lessons.delay.flow,
    },
    states: findings.spans,
    mixture: mixtureOf(view, 1, settings, lessons.present),
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
    result.mixture_2 = mixtureOf(view, 2, settings, lessons.present)
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

/** What averaging never takes away of a current-sensed λ: the reading's own steps and curve. */
const SYSTEMATIC_LAMBDA = 0.001

/**
 * Without manifold pressure the limits between these states are a guess by the throttle: a share of what is laid to one may belong to the next, as a
 * standard uncertainty. Without a throttle sensor, pressure tells less well when it is still. Common practice, no source.
 */
const loadedStates = ['cruise', 'part_throttle', 'power'] as const
const NEIGHBOUR_SHARE = 0.35
const NEIGHBOUR_SHARE_BY_PRESSURE = 0.15

/** How far a state's mixture may be off since its limits are not seen: a share of the way to the farther of its neighbours, λ. */
function limitDoubt(view: RunView, bank: 1 | 2, state: MixtureState, present: Uint8Array): number {
  const hasPressure = present[slot.manifold_pressure] === 1
  const hasThrottle = present[slot.throttle] === 1
  const at = (loadedStates as readonly string[]).indexOf(state)
  if ((hasPressure && hasThrottle) || at < 0) return 0
  const medianOf = (name: MixtureState | undefined) =>
    name ? view.findings.spreads[bank - 1][stateCode[name]].quantile(0.5) : Number.NaN
  const own = medianOf(state)
  let most = 0
  for (const name of [loadedStates[at - 1], loadedStates[at + 1]]) {
    const apart = Math.abs(medianOf(name) - own)
    if (apart > most) most = apart
  }
  return most * (hasPressure ? NEIGHBOUR_SHARE_BY_PRESSURE : NEIGHBOUR_SHARE)
}

function mixtureOf(
  view: RunView,
  bank: 1 | 2,
  { outputUncertainty, gains, sensor }: RunSettings,
  present: Uint8Array,
): Partial<Record<MixtureState, Mixture>> {
  const { findings } = view
  const mixture: Partial<Record<MixtureState, Mixture>> = {}
  for (const state of mixtureStates) {
    const spread = findings.spreads[bank - 1][stateCode[state]]
    if (!(spread.seconds() > 0)) continue
    const pieces = findings.pieces.filter((piece) => piece.bank === bank && piece.state === state)
    const middle = spread.quantile(0.5)
    // Neither does it take away the gain's error, nor the ground's of a λ that comes as a voltage.
    const output = outputUncertainty[bank - 1]?.(middle) ?? 0
    const gainShare = gainUncertainty(gains[bank - 1])
    const { gain } = lambdaUncertainty({ lambda: middle, gainShare }, sensor)
    const systematic = Math.hypot(
      SYSTEMATIC_LAMBDA,
      output,
      Number.isNaN(gain) ? 0 : gain,
      limitDoubt(view, bank, state, present),
    )
    mixture[state] = summariseMixture(
      bank,
      state,
      pieces,
      spread,
      systematic,
      findings.unreadS[bank - 1][stateCode[state]],
    )
  }
  return mixture
}

function describeRun(
  { known, file, stores }: ReplayInput,
  main: ColumnStore,
  { learned }: RunLessons,
): AnalysisResult['run'] {
  const distanceKm = distanceOf(stores)
  const seconds = main.end > main.first ? main.timeS[main.end - 1] - main.timeS[main.first] : 0
  const { start, carName, title, fitted, air, marks, notes, problems, stop } = known
  return {
    ...(file === undefined ? {} : { file }),
    ...(start === undefined ? {} : { start }),
    seconds,
    ...(Number.isNaN(distanceKm) ? {} : { distance_km: distanceKm }),
    ...(carName === undefined ? {} : { car: carName }),
    ...(title === undefined ? {} : { title }),
    ...(fitted === undefined ? {} : { fitted }),
    ...(air === undefined ? {} : { air }),
    ...(stop === undefined ? {} : { stop }),
    marks,
    notes,
    learned: {
      throttle_rest_pct: numberOrNull(learned.throttleRestPct),
      warm_idle_rpm: learned.warmIdleRpm,
      warm_idle_from: learned.idleFrom,
      barometer_kPa: learned.barometerKpa,
      barometer_from: learned.barometerFrom,
    },
    ...(problems.length > 0 ? { problems: [...problems] } : {}),
  }
}

/** Distance driven, km, by the first source that tells road speed; NaN without one. */
function distanceOf(stores: readonly ColumnStore[]): number {
  const store = stores.find((each) => each.columns[slot.road_speed] !== undefined)
  if (!store) return Number.NaN
  const distance = createDistance()
  const speeds = store.columns[slot.road_speed]!
  for (let i = store.first; i < store.end; i++) distance.add(store.timeS[i], speeds[i])
  return distance.metres() / 1000
}

const numberOrNull = (value: number) => (Number.isFinite(value) ? value : null)

function integrityOf(
  { counts, tornEnd }: ReplayInput,
  stores: readonly ColumnStore[],
  { findings }: RunView,
): AnalysisResult['integrity'] {
  const rows = stores.reduce((sum, store) => sum + store.end - store.first, 0)
  return {
    lines: counts?.lines ?? rows,
    samples: counts?.samples ?? rows,
    bad_checksum: counts?.badChecksum ?? 0,
    missing_samples: counts?.missingSamples ?? 0,
    gaps: findings.gaps,
    torn_end: tornEnd ?? false,
    unreadable: counts?.unreadable ?? 0,
    undeclared: counts?.undeclared ?? 0,
    restarts: counts?.restarts ?? 0,
    out_of_order: stores.reduce((sum, store) => sum + store.outOfOrder, 0),
  }
}

function scorecardOf(result: AnalysisResult): AnalysisResult['scorecard'] {
  let seconds = 0
  let inside = 0
  for (const m of Object.values(result.mixture)) {
    if (m.inside_share === null) continue
    seconds += m.seconds
    inside += m.seconds * m.inside_share
  }
  const tipIns = result.transients.filter(({ kind, stumble }) => kind === 'tip_in' && stumble !== null)
  const stumbles = tipIns.filter(({ stumble }) => stumble === true).length
  const powers = result.pulls.map(({ peak_kW }) => peak_kW).filter((kW) => kW !== null)
  return {
    on_target_share: seconds > 0 ? inside / seconds : null,
    stumbles_per_100_tip_ins: tipIns.length > 0 ? (100 * stumbles) / tipIns.length : null,
    self_idle_s: result.warm_up?.self_idle_s ?? null,
    economy: null,
    peak_kW: powers.length > 0 ? Math.max(...powers) : null,
    spent: null,
  }
}
