import type { LiveReading } from '../contract/live.ts'
import type { Pipeline, PipelineOptions } from '../contract/pipeline.ts'
import type { TimedRecord } from '../contract/records.ts'
import type { BoardEvent } from '../contract/samples.ts'
import { type DelayLaw, priorDelayLaw } from '../engine/delayLaw.ts'
import { type CarLearner, createCarLearner, type LearnedCar } from '../engine/learnedCar.ts'
import { channelSlots as slot } from './channels.ts'
import { appendBlock, type ColumnStore, createColumnStore, dropBefore } from './columnStore.ts'
import { createLiveReader, type LiveReader } from './liveReading.ts'
import { replayRun, replayWithColumns } from './replayRun.ts'
import { createRowReader, defaultRowReaderOptions, type RowReader } from './rowReader.ts'
import { createRunKnowledge, type RunSettings, settingsOf, takeRecord } from './runKnowledge.ts'
import { createRunView, type RunView } from './runView.ts'

/** What was learned of the car is looked up anew this often while samples come, s. */
const LEARN_EVERY_S = 1
/** Old rows are forgotten in steps, so that a live page pays nothing for it in most pushes, s. */
const FORGET_STEP_S = 30

/**
 * The one pipeline: samples, events and records in; the live reading and the run's result out. `live()` reads detectors that run along with the
 * samples; `result()` runs the same detectors once more over the kept samples, with what the whole run taught.
 */
export function createPipeline(options: PipelineOptions = {}): Pipeline {
  const known = createRunKnowledge(options.car)
  const records: TimedRecord[] = []
  const events: BoardEvent[] = []
  const stores: ColumnStore[] = []
  let settings: RunSettings = settingsOf(known, options.targets)
  let main: ColumnStore | undefined
  let reader: RowReader | undefined
  let view: RunView
  let learner: CarLearner
  let learned: LearnedCar
  let learnedS = Number.NEGATIVE_INFINITY
  let live: LiveReader
  let newestS = Number.NaN
  let forgottenS = Number.NEGATIVE_INFINITY

  const has = (channel: number) => stores.some((store) => store.columns[channel] !== undefined)

  function lawNow(): DelayLaw {
    const { delay } = known.car ?? {}
    return delay ? { aS: delay.a_s, bSRpmKpa: delay.b_s_rpm_kPa, flow: 'plug' } : priorDelayLaw
  }

  /** Starts the live detectors anew: at the beginning, and when the car itself changes. */
  function startView(): void {
    const law = lawNow()
    learner = createCarLearner(settings.limits.warm_C, settings.limits.rest_pct)
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

  function feed(store: ColumnStore, from: number): void {
    for (let i = from; i < store.end; i++) {
      reader!.read(store, i)
      const t = store.timeS[i]
      if (t - learnedS >= LEARN_EVERY_S) {
        learnedS = t
        learned = learner.learned()
        reader!.setBarometer(learned.barometerKpa)
      }
      view.row(reader!.row)
      live.note(reader!.row)
    }
  }

  function forget(): void {
    const { historyS } = options
    if (!(historyS! > 0) || newestS - forgottenS < FORGET_STEP_S) return
    forgottenS = newestS
    for (const store of stores) dropBefore(store, newestS - historyS!)
    while (events.length > 0 && events[0].timeS < newestS - historyS!) events.shift()
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
      const from = store.end
      appendBlock(store, block)
      for (const s of stores) chooseMain(s)
      if (store === main) feed(store, from)
      const last = block.timeS[block.count - 1]
      if (!(last <= newestS)) newestS = last
      forget()
    },
    event(event) {
      events.push({ ...event })
      view.event(event.timeS, event.code)
    },
    record(timeS, record) {
      const timed = { timeS, record }
      records.push(timed)
      if (!takeRecord(known, timed, options.carWins === true)) return
      settings = settingsOf(known, options.targets)
      reader?.setInputs(settings.inputs)
      learner.airPressureKpa = known.air?.pressure_kPa ?? Number.NaN
      if (record.type !== 'air') startView()
    },
    notice() {},
    advance(timeS) {
      if (!(timeS <= newestS)) newestS = timeS
      view.advance(timeS)
      live.advance(timeS)
    },
    live: (): LiveReading => live.read(),
    result: (more) => pipeline.analysis(more).result,
    analysis(more = {}) {
      return replayRun({ stores, main, known, records, events, targets: options.targets, ...more })
    },
    analysisWithColumns(more = {}) {
      return replayWithColumns({ stores, main, known, records, events, targets: options.targets, ...more })
    },
  }
  return pipeline
}
