import type { LiveReading } from '../contract/live.ts'
import type { Pipeline, PipelineOptions } from '../contract/pipeline.ts'
import type { TimedRecord } from '../contract/records.ts'
import type { BoardEvent } from '../contract/samples.ts'
import { type DelayLaw, priorDelayLaw } from '../engine/delayLaw.ts'
import { type CarLearner, createCarLearner, type LearnedCar } from '../engine/learnedCar.ts'
import { checkObject } from '../numeric/checkKind.ts'
import { createRoadTrack } from '../road/roadTrack.ts'
import { channelSlots as slot } from './channels.ts'
import { appendBlock, type ColumnStore, createColumnStore, dropBefore } from './columnStore.ts'
import { createRunLearner, isSameForRows, type RunLearner } from './learnRun.ts'
import { createLiveReader, type LiveReader } from './liveReading.ts'
import type { ReplayExtras, ReplayInput } from './replayInput.ts'
import { eventsByTime, replayRun, replayWithColumns } from './replayRun.ts'
import { createRowReader, defaultRowReaderOptions, type RowReader } from './rowReader.ts'
import { createRunKnowledge, type RunSettings, settingsOf, takeRecord } from './runKnowledge.ts'
import { createRunView, type RunView } from './runView.ts'

/** What was learned of the car is looked up anew this often while samples come, s. */
const LEARN_EVERY_S = 1
/** Old rows are forgotten in steps, so that a live page pays nothing for it in most pushes, s. */
const FORGET_STEP_S = 30
/** Most times that the result's first pass is begun anew while samples come: late records are few, or else it waits for the end. */
const MOST_STARTS = 3

/**
 * The one pipeline: samples, events and records in; the live reading and the run's result out. `live()` reads detectors that run along with the
 * samples; `result()` runs the same detectors once more over the kept samples, with what the whole run taught.
 */
export function createPipeline(options: PipelineOptions = {}): Pipeline {
  checkObject('options', options, 'options, or nothing')
  const known = createRunKnowledge(options.car)
  const records: TimedRecord[] = []
  const events: BoardEvent[] = []
  const stores: ColumnStore[] = []
  const road = createRoadTrack()
  let settings: RunSettings = settingsOf(known, options.targets)
  let main: ColumnStore | undefined
  let reader: RowReader | undefined
  let view: RunView
  let learner: CarLearner
  let learned: LearnedCar
  let learnedS = Number.NEGATIVE_INFINITY
  let live: LiveReader
  let newestS = Number.NaN
  let newestSampleS = Number.NEGATIVE_INFINITY
  let toldS = Number.NEGATIVE_INFINITY
  // Rows and events that the live detectors have seen; rows count from the first that ever came.
  let fedRow = 0
  let fedEvent = 0
  let fedStore: ColumnStore | undefined
  let isLookedAt = false
  // The result's first pass, if it runs along; after too many late records and events it waits for the end.
  let ahead: RunLearner | undefined
  let aheadSettings = settings
  let aheadStarts = 0
  let forgottenS = Number.NEGATIVE_INFINITY

  /** A channel that some source sends, or that a sender on a plain input gives. */
  const has = (channel: number) =>
    stores.some((store) => store.columns[channel] !== undefined) ||
    settings.inputs.some(
      ({ channelSlot, inputSlot }) =>
        channelSlot === channel && stores.some((store) => store.columns[inputSlot] !== undefined),
    )

  function lawNow(): DelayLaw {
    const { delay } = known.car ?? {}
    return delay ? { aS: delay.a_s, bSRpmKpa: delay.b_s_rpm_kPa, flow: 'plug' } : priorDelayLaw
  }

  /** Starts the live detectors anew: at the beginning, and when the car itself changes. */
  function startView(): void {
    const law = lawNow()
    learner = createCarLearner(settings.limits.warm_C, settings.limits.rest_pct, settings.throttleNeed)
    learner.airPressureKpa = known.air?.pressure_kPa ?? Number.NaN
    learner.profileIdleRpm = known.car?.engine?.idle_rpm ?? Number.NaN
    learned = learner.learned()
    learnedS = Number.NEGATIVE_INFINITY
    view = createRunView({
      ...settings,
      bankCount: 2,
      hasThrottle: () => has(slot.throttle),
      hasPressure: () => has(slot.manifold_pressure),
      learned: () => learned,
      learner,
      law: () => law,
      sensorLagS: () => 0,
      keeps: false,
    })
    live = createLiveReader(view, settings, () => learned)
  }

  /** The source that carries λ; the board when none does yet. */
  function chooseMain(store: ColumnStore): void {
    const carriesLambda = (s: ColumnStore) =>
      s.columns[slot.pump_current] !== undefined || s.columns[slot.lambda] !== undefined
    if (
      main &&
      (main === store || carriesLambda(main) || !(carriesLambda(store) || store.source < main.source))
    )
      return
    main = store
    reader = createRowReader(
      stores.filter((s) => s !== main),
      { ...defaultRowReaderOptions, inputs: settings.inputs },
    )
  }

  /**
   * Brings the live detectors up to the newest sample. It is put off until somebody looks: whoever only wants the result never pays for it, and
   * what comes out is the same.
   */
  function catchUp(): void {
    const store = main
    if (!store) return
    if (store !== fedStore) {
      // Another source carries λ now: go on from the same moment.
      const seenS = view.newestS()
      fedRow = store.dropped + store.first
      while (fedRow - store.dropped < store.end && store.timeS[fedRow - store.dropped] <= seenS) fedRow++
      fedStore = store
    }
    for (let i = Math.max(store.first, fedRow - store.dropped); i < store.end; i++) {
      reader!.read(store, i)
      const t = store.timeS[i]
      while (fedEvent < events.length && events[fedEvent].timeS <= t) {
        view.event(events[fedEvent].timeS, events[fedEvent].code)
        fedEvent++
      }
      if (t - learnedS >= LEARN_EVERY_S) {
        learnedS = t
        learner.isVacuum = store.vacuumDeclared
        learned = learner.learned()
        reader!.setBarometer(learned.barometerKpa)
      }
      view.row(reader!.row)
      live.note(reader!.row)
    }
    fedRow = store.dropped + store.end
    if (toldS > newestSampleS) {
      view.advance(toldS)
      live.advance(toldS)
    }
  }

  /** Several sources are joined at the end only: one may be behind the others. */
  function learnAhead(): void {
    if (!options.expectsResult || options.historyS !== undefined) return
    if (stores.length > 1) ahead = undefined
    else if (!ahead && aheadStarts < MOST_STARTS) {
      aheadStarts++
      aheadSettings = settings
      ahead = createRunLearner({ others: [], settings, events: eventsByTime(events), rows: 0 })
    }
    ahead?.advance(main!)
  }

  function replayInput(more: ReplayExtras): ReplayInput {
    const learner = ahead
    // It ends with this result.
    ahead = undefined
    const { targets } = options
    return { stores, main, known, records, events, targets, road, ...(learner ? { learner } : {}), ...more }
  }

  function forget(): void {
    const { historyS } = options
    if (!(historyS! > 0) || newestS - forgottenS < FORGET_STEP_S) return
    forgottenS = newestS
    catchUp()
    for (const store of stores) dropBefore(store, newestS - historyS!)
    while (events.length > 0 && events[0].timeS < newestS - historyS! && fedEvent > 0) {
      events.shift()
      fedEvent--
    }
  }

  startView()

  const pipeline: Pipeline = {
    push(block) {
      if (block.count === 0) return
      let store = stores.find((s) => s.source === block.source)
      if (!store) {
        store = createColumnStore(block.source)
        stores.push(store)
        stores.sort((a, b) => a.source - b.source)
        main = undefined
      }
      appendBlock(store, block)
      // A live page keeps minutes only, and asks for no pulls of long ago.
      if (options.historyS === undefined) road.add(block)
      for (const s of stores) chooseMain(s)
      const last = block.timeS[block.count - 1]
      if (!(last <= newestSampleS)) newestSampleS = last
      if (!(last <= newestS)) newestS = last
      forget()
      learnAhead()
    },
    event(event) {
      const own = { ...event }
      events.push(own)
      if (ahead?.event(own) === false) ahead = undefined
    },
    record(timeS, record) {
      const timed = { timeS, record }
      records.push(timed)
      // What came before the record belongs, for who has looked already, to what was known then.
      if (isLookedAt) catchUp()
      if (!takeRecord(known, timed, options.carWins === true)) return
      settings = settingsOf(known, options.targets)
      if (!isSameForRows(settings, aheadSettings)) ahead = undefined
      reader?.setInputs(settings.inputs)
      learner.airPressureKpa = known.air?.pressure_kPa ?? Number.NaN
      if (record.type !== 'air') startView()
    },
    notice() {},
    advance(timeS) {
      if (!(timeS <= newestS)) newestS = timeS
      if (!(timeS <= toldS)) toldS = timeS
    },
    live(): LiveReading {
      isLookedAt = true
      catchUp()
      return live.read()
    },
    result: (more) => pipeline.analysis(more).result,
    analysis: (more = {}) => replayRun(replayInput(more)),
    analysisWithColumns: (more = {}) => replayWithColumns(replayInput(more)),
  }
  return pipeline
}
