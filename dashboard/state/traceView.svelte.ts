import type { TraceAnswer } from '../worker/messages.ts'
import type { Link } from './link.svelte.ts'

/** At most so many redraws a second: the cost is in the drawing, and eyes see no more in a strip chart. */
const redrawMs = 100
/** Pixel columns at most: more than a tablet has is never seen. */
const mostColumns = 1200

export const windowsS = [10, 30, 60, 300, 1200] as const

/** What part of the history the trace shows: live, or held at a place. */
export class TraceView {
  windowS = $state.raw<number>(60)
  #held = $state.raw<readonly [number, number] | undefined>(undefined)
  #answer = $state.raw<TraceAnswer | undefined>(undefined)
  #shown = $state.raw<readonly [number, number]>([0, 60])
  #isAsking = false
  readonly #link: Link

  constructor(link: Link) {
    this.#link = link
  }

  get isLive(): boolean {
    return this.#held === undefined
  }
  get answer(): TraceAnswer | undefined {
    return this.#answer
  }
  /** The stretch that the newest columns cover. */
  get shown(): readonly [number, number] {
    return this.#shown
  }

  /** Stands still here, or at a given stretch, kept within what there is. */
  hold(view: readonly [number, number] = this.#shown): void {
    const width = Math.min(Math.max(view[1] - view[0], 0.5), windowsS[windowsS.length - 1])
    const oldest = this.#answer?.oldestS ?? 0
    const newest = this.#answer?.newestS ?? width
    const end = Math.min(Math.max(view[0] + width, Math.min(oldest + width, newest)), newest)
    this.#held = [end - width, end]
  }

  live(): void {
    if (this.#held) this.windowS = Math.max(1, Math.round(this.#held[1] - this.#held[0]))
    this.#held = undefined
  }

  setWindow(seconds: number): void {
    this.windowS = seconds
    if (this.#held) this.hold([this.#held[1] - seconds, this.#held[1]])
  }

  zoom(factor: number): void {
    if (!this.#held)
      this.windowS = Math.min(windowsS[windowsS.length - 1], Math.max(1, this.windowS * factor))
    else {
      const middle = (this.#held[0] + this.#held[1]) / 2
      const half = ((this.#held[1] - this.#held[0]) / 2) * factor
      this.hold([middle - half, middle + half])
    }
  }

  shift(share: number): void {
    const [from, to] = this.#held ?? this.#shown
    const by = (to - from) * share
    this.hold([from + by, to + by])
  }

  /** Keeps asking for columns until the returned call. */
  follow(channels: () => readonly string[], columnCount: () => number): () => void {
    const timer = setInterval(() => this.#ask(channels(), columnCount()), redrawMs)
    return () => clearInterval(timer)
  }

  #ask(channels: readonly string[], columnCount: number): void {
    if (this.#isAsking || channels.length === 0 || document.visibilityState === 'hidden') return
    const nowS = this.#link.traceS
    if (Number.isNaN(nowS) && !this.#held) return
    const [fromS, toS] = this.#held ?? [nowS - this.windowS, nowS]
    this.#isAsking = true
    this.#link
      .trace({
        channels: [...channels],
        fromS,
        toS,
        columnCount: Math.max(50, Math.min(mostColumns, Math.round(columnCount))),
      })
      .then(
        (answer) => {
          this.#isAsking = false
          this.#shown = [fromS, toS]
          this.#answer = answer
        },
        () => {
          // The worker is gone or busy: the next tick asks anew, the old picture stays.
          this.#isAsking = false
        },
      )
  }
}
