import type { Problem } from '../../core/contract/api.ts'
import type { RecordingStatus } from '../../core/contract/stream.ts'
import type { Clock } from './clock.svelte.ts'
import { elapsedText } from './clock.svelte.ts'

/** How long the state slat shows that a mark was taken, ms. */
const feedbackMs = 1500

/** Recording on the bridge: its state, and the two things a person may do. */
export class Recording {
  #status = $state.raw<RecordingStatus>({ on: false, seconds: 0, bytes: 0, automatic: false })
  #heardMs = 0
  #feedback = $state.raw('')
  #feedbackEnds: ReturnType<typeof setTimeout> | undefined
  #marks = $state.raw(0)
  #problem = $state.raw('')
  #run: string | undefined
  readonly #clock: Clock
  readonly #fetch: typeof fetch

  constructor(clock: Clock, fetcher: typeof fetch = (...args) => fetch(...args)) {
    this.#clock = clock
    this.#fetch = fetcher
  }

  get status(): RecordingStatus {
    return this.#status
  }
  get elapsedText(): string {
    const running = this.#status.on ? (this.#clock.nowMs - this.#heardMs) / 1000 : 0
    return elapsedText(this.#status.seconds + running)
  }
  /** Why it stopped or cannot start, in words. */
  get problem(): string {
    return this.#problem || (this.#status.problem ?? '')
  }
  /** Word for the tap just made; empty when it is over. */
  get feedbackText(): string {
    return this.#feedback
  }

  receive(status: RecordingStatus): void {
    this.#heardMs = performance.now()
    if (status.run !== this.#run) {
      this.#run = status.run
      this.#marks = 0
    }
    this.#status = status
  }

  /** A mark arrived over the stream, whoever made it. */
  marked(): void {
    this.#marks++
  }

  async toggle(): Promise<void> {
    const on = !this.#status.on
    this.#problem = ''
    try {
      const status = await this.#post<RecordingStatus>('/api/recording', { on })
      if (status) this.receive(status)
    } catch (error) {
      this.#problem = (error as Error).message
      this.#say(on ? 'NOT STARTED' : 'NOT STOPPED')
    }
  }

  /** Marks this moment; the word comes at once, and is taken back if the bridge refuses. */
  async mark(label = ''): Promise<void> {
    if (!this.#status.on) {
      this.#say('NOT RECORDING')
      return
    }
    this.#say(`MARKED ${this.#marks + 1}`)
    try {
      await this.#post('/api/marks', { label })
    } catch {
      this.#say('MARK NOT KEPT')
    }
  }

  #say(text: string): void {
    // Ended by a change and not by the clock: all that shows it, word and ground, turns back in one frame.
    this.#feedback = text
    clearTimeout(this.#feedbackEnds)
    this.#feedbackEnds = setTimeout(() => {
      this.#feedback = ''
    }, feedbackMs)
  }

  async #post<T>(path: string, body: unknown): Promise<T | undefined> {
    const answer = await this.#fetch(path, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    })
    if (answer.ok) return answer.status === 204 ? undefined : ((await answer.json()) as T)
    const problem = (await answer.json().catch(() => undefined)) as Problem | undefined
    throw new Error(problem?.detail ?? `the bridge answered ${answer.status}`)
  }
}
