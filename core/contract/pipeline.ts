import type { CarProfile, Targets } from './car.ts'
import type { DerivedColumns } from './derived.ts'
import type { LiveReading } from './live.ts'
import type { CaptureRecord, TimedNotice } from './records.ts'
import type { AnalysisResult, RunAnalysis } from './result.ts'
import type { BoardEvent, LineCounts, SampleBlock } from './samples.ts'

export interface PipelineOptions {
  /** The car; a `car` record in the input replaces it unless `carWins`. */
  car?: CarProfile
  carWins?: boolean
  /** Targets that win over the car's. */
  targets?: Targets
  /** Longest history kept for `result()`, seconds, default unlimited. Live pages give a bound so that memory stays flat. */
  historyS?: number
  /** The result will be asked for at the end: what can be worked out for it while samples come is worked out then. Changes no value. Default false. */
  expectsResult?: boolean
}

/**
 * The one pipeline: live view, replay and `analyse` push the same blocks into the same code.
 * Law: however the input is cut into blocks, `result()` is bit-identical, and so are the live readings at equal times.
 */
export interface Pipeline {
  /** Samples of one source, times ascending within it. */
  push(block: SampleBlock): void
  /** A fault or notice of the board. */
  event(event: BoardEvent): void
  /** A JSON record; later ones of a type replace earlier ones, marks and notes add up. */
  record(timeS: number, record: CaptureRecord): void
  /** A bridge notice (source lost, source back). */
  notice(notice: TimedNotice): void
  /** Tells the time without a sample, so that `live()` can notice silence. */
  advance(timeS: number): void
  live(): LiveReading
  /** The whole run so far, from what is kept. `counts` are the decoder's, when there was one. */
  result(more?: { counts?: LineCounts; tornEnd?: boolean; file?: string }): AnalysisResult
  /** The result together with the steady evidence that comparing and advising work from. */
  analysis(more?: { counts?: LineCounts; tornEnd?: boolean; file?: string }): RunAnalysis
  /** The analysis, and what was made of each sample: for exports. */
  analysisWithColumns?(more?: { counts?: LineCounts; tornEnd?: boolean; file?: string }): {
    analysis: RunAnalysis
    columns: DerivedColumns
  }
}
