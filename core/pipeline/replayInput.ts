import type { Targets } from '../contract/car.ts'
import type { TimedRecord } from '../contract/records.ts'
import type { BoardEvent, LineCounts } from '../contract/samples.ts'
import type { RoadTrack } from '../road/roadTrack.ts'
import type { ColumnStore } from './columnStore.ts'
import type { RunLearner } from './learnRun.ts'
import type { RunKnowledge } from './runKnowledge.ts'

/** What the reader of the lines knows beside the samples. */
export interface ReplayExtras {
  readonly counts?: LineCounts
  readonly tornEnd?: boolean
  readonly file?: string
}

/** All that a result is worked out from. */
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
