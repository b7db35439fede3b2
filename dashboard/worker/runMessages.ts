import type { AdviceResult, ComparisonResult } from '../../core/contract/advice.ts'
import type { CarProfile, PartsFile, Targets } from '../../core/contract/car.ts'
import type { LiveReading } from '../../core/contract/live.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import type { TraceAnswer, TraceChannel } from './messages.ts'

/** Where a run's bytes come from: the bridge, or a file that was dropped on the page. */
export type RunSource =
  | { kind: 'bridge'; url: string; bytes?: number }
  | { kind: 'file'; blob: Blob; name: string }

export interface OpenRequest {
  type: 'open'
  /** Key by which later requests name the run. */
  run: string
  source: RunSource
  car?: CarProfile
  targets?: Targets
  /** False: only the analysis is wanted (comparing, advising), no charts and no replay. */
  keeps: boolean
}

/** A point of the run's replay: what the live page would have shown then. */
export interface ReplayReading {
  /** Time of the newest sample, capture seconds. */
  timeS: number
  reading: LiveReading
}

/** Every request to the run worker, by name: what is asked and what comes back. */
export interface RunRequests {
  open: { ask: OpenRequest; answer: OpenedRun }
  columns: {
    ask: {
      type: 'columns'
      run: string
      fromS: number
      toS: number
      columnCount: number
      channels: readonly string[]
    }
    answer: TraceAnswer
  }
  reading: { ask: { type: 'reading'; run: string; timeS: number }; answer: ReplayReading | null }
  /** To the next (1) or previous (−1) sample of the board. */
  step: { ask: { type: 'step'; run: string; timeS: number; by: 1 | -1 }; answer: ReplayReading | null }
  compare: {
    ask: { type: 'compare'; a: string; b: string; car?: CarProfile; mixture?: string }
    answer: ComparisonResult
  }
  advise: {
    ask: {
      type: 'advise'
      runs: readonly string[]
      parts: PartsFile
      car?: CarProfile
      /** Unit in which the sentences give the mixture; without, as the car's profile says. */
      mixture?: string
      /** Unit in which they give bores; without, as the car's profile says, else as each was noted. */
      bore?: string
      /** Hints of the runs whose test was done and found nothing. */
      checked?: readonly string[]
    }
    answer: AdviceResult
  }
  cancel: { ask: { type: 'cancel'; run: string }; answer: null }
}
export type RunRequestName = keyof RunRequests
export type RunAsk = RunRequests[RunRequestName]['ask']

/** What can be drawn as soon as the bytes are read, before anything is worked out from them. */
export interface ScannedRun {
  channels: TraceChannel[]
  startS: number
  endS: number
  /** The whole run in one picture: λ where the board tells it, else its first channel. */
  overview: TraceAnswer
}

export interface OpenedRun {
  analysis: RunAnalysis
  channels: TraceChannel[]
  startS: number
  endS: number
  /** Time from the last byte to the analysis, and of the whole opening, ms. */
  analysedMs: number
  openedMs: number
  /** What was skipped of a partly broken file, in words. */
  skipped: string[]
}

export type ToRunWorker = { id: number; ask: RunAsk }
export type FromRunWorker =
  | { type: 'answer'; id: number; answer: unknown }
  | { type: 'failed'; id: number; code: string; text: string }
  | { type: 'progress'; run: string; share: number | null; words: string }
  | { type: 'scanned'; run: string; scanned: ScannedRun }
