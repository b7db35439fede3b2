import type { BoardEvent } from '../contract/samples.ts'
import type { ConditionedRun } from '../engine/conditionedRun.ts'
import type { DelayLaw } from '../engine/delayLaw.ts'
import {
  createLambdaStage,
  defaultLambdaStageOptions,
  type LambdaStage,
  tellStages,
  trust,
} from '../engine/lambdaStage.ts'
import { type LearnedDelay, learnDelay } from '../engine/learnDelay.ts'
import { type CarLearner, createCarLearner, type LearnedCar } from '../engine/learnedCar.ts'
import { SampleGaps } from '../engine/sampleGaps.ts'
import {
  createSignalConditioner,
  defaultSignalConditionerOptions,
  type SignalConditioner,
} from '../engine/signalConditioner.ts'
import { GrowingDoubles } from '../numeric/growingArray.ts'
import { channelSlots as slot } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import { hasReading, stepStage } from './lambdaFeed.ts'
import { PreparedRows } from './preparedRows.ts'
import { createRowReader, defaultRowReaderOptions, type Row, type RowReader } from './rowReader.ts'
import type { RunKnowledge, RunSettings } from './runKnowledge.ts'

/** What a whole run teaches before its result is worked out. */
export interface RunLessons {
  readonly learned: LearnedCar
  readonly delay: LearnedDelay
  /** Slots that carried at least one reading. */
  readonly present: Uint8Array
  /** What the next pass need not work out anew; undefined where that rests on the lessons. */
  readonly prepared: PreparedRows | undefined
}

/** Steps of the columns, s: finer than any delay that can be told, and no finer, for speed. */
const STEP_S = 0.024
const LAMBDA_STEP_S = 0.012

/** First pass over the rows of a run, in one go or as they come. */
export interface RunLearner {
  /** Goes over the rows of the main source that came since the last call. */
  advance(main: ColumnStore): void
  /** Takes an event; false when it came too late: rows after it have been gone over already. */
  event(event: BoardEvent): boolean
  /** Ends the run: nothing may be added any more. */
  lessons(known: RunKnowledge): RunLessons
}

export interface RunLearnerOptions {
  readonly others: readonly ColumnStore[]
  readonly settings: RunSettings
  /** Events so far, by time. */
  readonly events: readonly BoardEvent[]
  /** So many rows are expected, for the room they take. */
  readonly rows: number
}

/** True when rows are gone over in the same way under both. */
export function isSameForRows(a: RunSettings, b: RunSettings): boolean {
  return (
    a.sensor === b.sensor &&
    Object.is(a.gains[0], b.gains[0]) &&
    Object.is(a.gains[1], b.gains[1]) &&
    a.limits.warm_C === b.limits.warm_C &&
    a.limits.rest_pct === b.limits.rest_pct &&
    Object.is(a.throttleNeed, b.throttleNeed) &&
    a.inputs.length === 0 &&
    b.inputs.length === 0
  )
}

/** Learns rest, idle speed, air pressure, channels seen and transport delay, and prepares the next pass. */
export function createRunLearner(options: RunLearnerOptions): RunLearner {
  return new Learner(options)
}

class Learner implements RunLearner {
  readonly #settings: RunSettings
  readonly #others: readonly ColumnStore[]
  readonly #reader: RowReader
  readonly #row: Row
  readonly #car: CarLearner
  readonly #events: BoardEvent[]
  #eventsTold = 0
  /** Rows gone over. */
  #rows = 0
  #hasVacuum = false
  readonly #present: Uint8Array
  /** Slots that may come and have not yet: soon hardly any. */
  #awaited: number[] = []
  #slotsAwaited = -1

  readonly #gaps = new SampleGaps()
  readonly #conditioner: SignalConditioner
  #isWithRow = false

  // For learning: λ as the sensor read it, whatever the board says of faults, and points on a coarse step.
  #plainStage: LambdaStage | undefined
  #nextLambdaS = Number.NEGATIVE_INFINITY
  readonly #pointS = new GrowingDoubles()
  readonly #rpm = new GrowingDoubles()
  readonly #throttlePct = new GrowingDoubles()
  readonly #mapKpa = new GrowingDoubles()
  readonly #lambdaS = new GrowingDoubles()
  readonly #lambda = new GrowingDoubles()

  // For the next pass.
  readonly #prepared: PreparedRows
  readonly #stages: readonly [LambdaStage, LambdaStage]
  #hasBank2 = false

  constructor({ others, settings, events, rows }: RunLearnerOptions) {
    this.#settings = settings
    this.#others = others
    this.#events = [...events]
    this.#reader = createRowReader(others, { ...defaultRowReaderOptions, inputs: settings.inputs })
    this.#row = this.#reader.row
    this.#present = new Uint8Array(this.#row.value.length)
    this.#car = createCarLearner(settings.limits.warm_C, settings.limits.rest_pct, settings.throttleNeed)
    this.#prepared = new PreparedRows(rows)
    this.#stages = [this.#createStage(1), this.#createStage(2)]
    this.#conditioner = createSignalConditioner(
      () => this.#prepared.addPoint(this.#conditioner, this.#rows, this.#isWithRow),
      defaultSignalConditionerOptions,
      { stepS: STEP_S, onPoint: () => this.#addCoarse() },
    )
  }

  advance(main: ColumnStore): void {
    this.#look(main)
    const end = main.end - main.first
    while (this.#rows < end) {
      this.#reader.read(main, main.first + this.#rows)
      this.#takeRow()
      this.#rows++
    }
  }

  event(event: BoardEvent): boolean {
    const last = this.#events.at(-1)
    if (event.timeS <= this.#gaps.lastS || (last && event.timeS < last.timeS)) return false
    this.#events.push(event)
    return true
  }

  lessons(known: RunKnowledge): RunLessons {
    this.#isWithRow = false
    this.#conditioner.flush()
    const car = this.#car
    car.airPressureKpa = known.air?.pressure_kPa ?? Number.NaN
    car.profileIdleRpm = known.car?.engine?.idle_rpm ?? Number.NaN
    car.isVacuum = this.#hasVacuum
    const learned = car.learned()
    const own = known.car?.delay
    const earlier: DelayLaw | undefined = own && { aS: own.a_s, bSRpmKpa: own.b_s_rpm_kPa, flow: 'plug' }
    const delay = learnDelay(this.#run(), {
      throttleRestPct: learned.throttleRestPct,
      warmIdleRpm: learned.warmIdleRpm,
      throttleNeed: learned.throttleNeed,
      barometerKpa: learned.barometerKpa,
      earlier,
      earlierEvents: own?.events_used ?? 0,
    })
    return {
      learned,
      delay,
      present: this.#present,
      // Vacuum is told against the air of the day, which is among the lessons.
      prepared: this.#hasVacuum ? undefined : this.#prepared,
    }
  }

  #createStage(bank: 1 | 2): LambdaStage {
    const { sensor, gains } = this.#settings
    return createLambdaStage({ ...defaultLambdaStageOptions, bank, sensor, gain: gains[bank - 1] })
  }

  /** Channels of the sources may have come since. */
  #look(main: ColumnStore): void {
    this.#hasVacuum = main.vacuumDeclared
    const slots = new Set([...main.slots, ...this.#others.flatMap((other) => other.slots)])
    for (const { channelSlot } of this.#settings.inputs) slots.add(channelSlot)
    if (slots.size === this.#slotsAwaited) return
    this.#slotsAwaited = slots.size
    this.#awaited = [...slots].filter((each) => this.#present[each] === 0)
    if (this.#hasBank2 || !(slots.has(slot.pump_current_2) || slots.has(slot.lambda_2))) return
    this.#hasBank2 = true
    this.#catchUpBank2(main)
  }

  /** A second bank that came later was silent so far. */
  #catchUpBank2(main: ColumnStore): void {
    const stage = this.#stages[1]
    for (let row = 0; row < this.#rows; row++) {
      const t = main.timeS[main.first + row]
      stage.step(t, Number.NaN, false, Number.NaN, Number.NaN, Number.NaN, false, Number.NaN)
      this.#prepared.addLambda(1, stage)
    }
  }

  #takeRow(): void {
    const { timeS, value } = this.#row
    while (this.#eventsTold < this.#events.length && this.#events[this.#eventsTold].timeS <= timeS) {
      const { timeS: eventS, code } = this.#events[this.#eventsTold++]
      this.#plainStage ??= this.#stages[0].fork()
      tellStages(this.#stages, eventS, code)
    }
    if (this.#awaited.length > 0) this.#see()
    stepStage(this.#stages[0], this.#row, 0)
    this.#prepared.addLambda(0, this.#stages[0])
    if (this.#hasBank2) {
      stepStage(this.#stages[1], this.#row, 1)
      this.#prepared.addLambda(1, this.#stages[1])
    }
    if (this.#plainStage) stepStage(this.#plainStage, this.#row, 0)
    if (hasReading(this.#row, 0) && timeS >= this.#nextLambdaS) {
      this.#nextLambdaS = timeS + LAMBDA_STEP_S
      this.#addLambda(this.#plainStage ?? this.#stages[0])
    }
    this.#isWithRow = false
    if (this.#gaps.isGapBefore(timeS)) this.#conditioner.flush()
    this.#gaps.add(timeS)
    this.#isWithRow = true
    this.#conditioner.push(
      timeS,
      value[slot.engine_speed],
      value[slot.throttle],
      value[slot.manifold_pressure],
    )
  }

  #see(): void {
    const { fresh } = this.#row
    for (let k = this.#awaited.length - 1; k >= 0; k--) {
      if (fresh[this.#awaited[k]] === 0) continue
      this.#present[this.#awaited[k]] = 1
      this.#awaited.splice(k, 1)
    }
  }

  #addLambda(stage: LambdaStage): void {
    const { timeS, value } = this.#row
    this.#lambdaS.push(timeS)
    // Beyond the lean end is air: for the shape of an overrun it counts as very lean.
    this.#lambda.push(stage.reason === trust.outOfRange && value[slot.pump_current] > 0 ? 2 : stage.lambda)
  }

  #addCoarse(): void {
    const { timeS, rpm, throttlePct, mapKpa } = this.#conditioner
    this.#car.add(timeS, rpm, throttlePct, mapKpa, this.#row.value[slot.coolant])
    this.#pointS.push(timeS)
    this.#rpm.push(rpm)
    this.#throttlePct.push(throttlePct)
    this.#mapKpa.push(mapKpa)
  }

  #run(): ConditionedRun {
    return {
      count: this.#pointS.count,
      timeS: this.#pointS.values(),
      rpm: this.#rpm.values(),
      throttlePct: this.#throttlePct.values(),
      mapKpa: this.#mapKpa.values(),
      lambdaCount: this.#lambdaS.count,
      lambdaS: this.#lambdaS.values(),
      lambda: this.#lambda.values(),
    }
  }
}
