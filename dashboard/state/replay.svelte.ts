import type { LiveReading } from '../../core/contract/live.ts'
import type { ReplayReading } from '../worker/runMessages.ts'
import type { RunsWorker } from './runsWorker.svelte.ts'

/** Speeds of play, times real time. */
export const replayRates = [0.5, 1, 2, 4, 8, 16] as const

/** A moment kept for comparing. */
export interface ReplayMark {
  timeS: number
  reading: LiveReading | undefined
}

/** The cursor of a run's replay: where it stands, whether it plays, and what the live page would have shown there. */
export class Replay {
  readonly startS: number
  readonly endS: number
  readonly #worker: RunsWorker
  readonly #run: string
  #timeS = $state.raw(0)
  #isPlaying = $state.raw(false)
  #rate = $state.raw(1)
  #reading = $state.raw<LiveReading | undefined>(undefined)
  #a = $state.raw<ReplayMark | undefined>(undefined)
  #b = $state.raw<ReplayMark | undefined>(undefined)
  #frame = 0
  #wasMs = 0
  #isAsking = false
  #wantedS: number | undefined
  #stepping: Promise<void> = Promise.resolve()
  #closed = false

  constructor(worker: RunsWorker, run: string, startS: number, endS: number) {
    this.#worker = worker
    this.#run = run
    this.startS = startS
    this.endS = Math.max(startS, endS)
    this.#timeS = Math.max(startS, Math.min(0, endS))
    this.#ask()
  }

  get timeS(): number {
    return this.#timeS
  }
  get isPlaying(): boolean {
    return this.#isPlaying
  }
  get rate(): number {
    return this.#rate
  }
  get reading(): LiveReading | undefined {
    return this.#reading
  }
  get a(): ReplayMark | undefined {
    return this.#a
  }
  get b(): ReplayMark | undefined {
    return this.#b
  }

  seek(timeS: number): void {
    this.#timeS = Math.min(this.endS, Math.max(this.startS, timeS))
    this.#ask()
  }

  /** Seconds forward or back. */
  shift(byS: number): void {
    this.seek(this.#timeS + byS)
  }

  /** To the next or previous sample of the board; pauses. */
  step(by: 1 | -1): Promise<void> {
    this.pause()
    // One after the other: each step starts from where the one before it ended.
    this.#stepping = this.#stepping.then(async () => {
      try {
        const answer = await this.#worker.ask({ type: 'step', run: this.#run, timeS: this.#timeS, by })
        if (!answer) return
        this.#timeS = answer.timeS
        this.#reading = answer.reading
      } catch {
        // The run was put away meanwhile: the cursor stays where it is.
      }
    })
    return this.#stepping
  }

  toggle(): void {
    if (this.#isPlaying) this.pause()
    else this.play()
  }

  play(): void {
    if (this.#isPlaying || this.#closed) return
    if (this.#timeS >= this.endS) this.seek(this.startS)
    this.#isPlaying = true
    this.#wasMs = performance.now()
    const move = (nowMs: number) => {
      if (!this.#isPlaying) return
      const byS = (Math.max(0, nowMs - this.#wasMs) / 1000) * this.#rate
      this.#wasMs = nowMs
      this.seek(this.#timeS + byS)
      if (this.#timeS >= this.endS) this.pause()
      else this.#frame = requestAnimationFrame(move)
    }
    this.#frame = requestAnimationFrame(move)
  }

  pause(): void {
    this.#isPlaying = false
    cancelAnimationFrame(this.#frame)
  }

  setRate(rate: number): void {
    this.#rate = rate
  }

  /** Keeps this moment as A or B; at the same moment a second time lets it go. */
  mark(which: 'a' | 'b'): void {
    const before = which === 'a' ? this.#a : this.#b
    const mark =
      before && Math.abs(before.timeS - this.#timeS) < 1e-6
        ? undefined
        : { timeS: this.#timeS, reading: this.#reading }
    if (which === 'a') this.#a = mark
    else this.#b = mark
  }

  clearMarks(): void {
    this.#a = undefined
    this.#b = undefined
  }

  /** To the nearest of `times` after (1) or before (−1) the cursor. */
  jump(times: readonly number[], by: 1 | -1): number {
    // Half a second of room, so that "previous" leaves the event it stands on while it plays.
    const room = this.#isPlaying && by < 0 ? 0.5 : 0.005
    const index =
      by > 0
        ? times.findIndex((timeS) => timeS > this.#timeS + room)
        : times.findLastIndex((timeS) => timeS < this.#timeS - room)
    if (index >= 0) this.seek(times[index])
    return index
  }

  /** Asks for the reading again, e.g. when the replay has come further. */
  refresh(): void {
    this.#ask()
  }

  close(): void {
    this.#closed = true
    this.pause()
  }

  #ask(): void {
    if (this.#closed) return
    this.#wantedS = this.#timeS
    if (this.#isAsking) return
    this.#isAsking = true
    void this.#answer()
  }

  async #answer(): Promise<void> {
    while (this.#wantedS !== undefined && !this.#closed) {
      const timeS = this.#wantedS
      this.#wantedS = undefined
      let found: ReplayReading | null = null
      try {
        found = await this.#worker.ask({ type: 'reading', run: this.#run, timeS })
      } catch {
        // The run was put away, or the worker is busy: the page keeps what it shows.
        break
      }
      this.#reading = found?.reading
    }
    this.#isAsking = false
  }
}
