import type { TraceAnswer } from '../worker/messages.ts'
import type { Run } from './run.svelte.ts'

/** Columns of a window of a run, asked for anew whenever window, width or channels change; the newest wish wins. */
export class RunCharts {
  readonly #run: Run
  #answer = $state.raw<TraceAnswer | undefined>(undefined)
  #wanted: { fromS: number; toS: number; columnCount: number; channels: readonly string[] } | undefined
  #isAsking = false

  constructor(run: Run) {
    this.#run = run
  }

  get answer(): TraceAnswer | undefined {
    return this.#answer
  }

  want(fromS: number, toS: number, columnCount: number, channels: readonly string[]): void {
    this.#wanted = { fromS, toS, columnCount: Math.max(50, Math.round(columnCount)), channels }
    if (!this.#isAsking) void this.#ask()
  }

  async #ask(): Promise<void> {
    this.#isAsking = true
    while (this.#wanted) {
      const { fromS, toS, columnCount, channels } = this.#wanted
      this.#wanted = undefined
      try {
        this.#answer = await this.#run.columns(fromS, toS, columnCount, channels)
      } catch {
        // The run was put away meanwhile; the last picture stays.
        break
      }
    }
    this.#isAsking = false
  }
}
