import type { CarProfile } from '../../core/contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../../core/contract/result.ts'
import type { TraceAnswer, TraceChannel } from '../worker/messages.ts'
import type { OpenedRun, ScannedRun } from '../worker/runMessages.ts'
import type { Runs } from './runs.svelte.ts'
import { type RunProgress, RunWorkerError } from './runsWorker.svelte.ts'

/** One run as a page shows it: opened in the worker, with everything that was worked out. */
export class Run {
  readonly key: string
  readonly #runs: Runs
  #opened = $state.raw<OpenedRun | undefined>(undefined)
  #problem = $state.raw<{ text: string; code: string } | undefined>(undefined)
  #progress = $state.raw<RunProgress>({ share: null, words: 'Opening the run' })
  #replayShare = $state.raw(0)
  #scanned = $state.raw<ScannedRun | undefined>(undefined)
  #stopFollowing: (() => void) | undefined

  constructor(runs: Runs, key: string) {
    this.#runs = runs
    this.key = key
  }

  get state(): 'loading' | 'ready' | 'error' {
    if (this.#problem) return 'error'
    return this.#opened ? 'ready' : 'loading'
  }
  get problem(): { text: string; code: string } | undefined {
    return this.#problem
  }
  get progress(): RunProgress {
    return this.#progress
  }
  /** How much of the run the replay is ready for, 0…1. */
  get replayShare(): number {
    return this.#replayShare
  }
  /** A first picture, there before the rest is worked out. */
  get scanned(): ScannedRun | undefined {
    return this.#scanned
  }
  get opened(): OpenedRun | undefined {
    return this.#opened
  }
  get analysis(): RunAnalysis | undefined {
    return this.#opened?.analysis
  }
  get result(): AnalysisResult | undefined {
    return this.#opened?.analysis.result
  }
  get car(): CarProfile | undefined {
    return this.#opened?.analysis.car
  }
  get channels(): readonly TraceChannel[] {
    return this.#opened?.channels ?? []
  }

  /** Opens it. `keeps` false: only the analysis (comparing, advising). */
  async open(keeps = true): Promise<void> {
    this.#problem = undefined
    const source = this.#runs.sourceOf(this.key)
    if (!source) {
      this.#problem = {
        text: 'This page no longer holds the file. Drop it again, or choose it.',
        code: 'file_gone',
      }
      return
    }
    this.#stopFollowing?.()
    this.#stopFollowing = this.#runs.worker.follow(this.key, {
      progress: (progress) => {
        if (progress.words === 'replay') this.#replayShare = progress.share ?? 0
        else this.#progress = progress
      },
      scanned: (scanned) => {
        this.#scanned = scanned
      },
    })
    try {
      this.#opened = await this.#runs.worker.ask({ type: 'open', run: this.key, source, keeps })
      this.#runs.analysed.add(this.key)
    } catch (error) {
      const known = error instanceof RunWorkerError ? error : new RunWorkerError('failed', String(error))
      this.#problem = { text: known.message, code: known.code }
    }
  }

  /** Stops an opening that takes too long. */
  cancel(): void {
    void this.#runs.worker.ask({ type: 'cancel', run: this.key })
  }

  close(): void {
    this.#stopFollowing?.()
    if (this.state === 'loading') this.cancel()
  }

  columns(
    fromS: number,
    toS: number,
    columnCount: number,
    channels: readonly string[],
  ): Promise<TraceAnswer> {
    return this.#runs.worker.ask({
      type: 'columns',
      run: this.key,
      fromS,
      toS,
      columnCount,
      channels: [...channels],
    })
  }
}
