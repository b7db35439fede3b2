import type {
  FromRunWorker,
  RunAsk,
  RunRequestName,
  RunRequests,
  ScannedRun,
  ToRunWorker,
} from '../worker/runMessages.ts'

/** A request without an answer for so long has failed, ms. Opening has no such limit: it shows progress and can be stopped. */
const answerMs = 30_000

/** What the run worker could not do. */
export class RunWorkerError extends Error {
  readonly code: string
  constructor(code: string, text: string) {
    super(text)
    this.name = 'RunWorkerError'
    this.code = code
  }
}

export interface RunProgress {
  /** 0…1, null when it cannot be known. */
  share: number | null
  words: string
}

export interface RunListener {
  progress(progress: RunProgress): void
  /** The bytes are read; the rest is being worked out. */
  scanned(scanned: ScannedRun): void
}

/**
 * The page's side of the worker that opens runs. It is started soon after the page and not when it is first needed: a page that lost its bridge
 * could not load it any more.
 */
export class RunsWorker {
  readonly #createWorker: () => Worker
  #worker: Worker | undefined
  #lastId = 0
  readonly #waiting = new Map<
    number,
    { resolve: (answer: never) => void; reject: (error: Error) => void; timer: number }
  >()
  readonly #progress = new Map<string, RunListener>()

  /** @param createWorker called by `start`, or at the first question */
  constructor(createWorker: () => Worker) {
    this.#createWorker = createWorker
  }

  /** Starts the worker, once: from then on files open without the bridge. */
  start(): void {
    this.#worker ??= this.#begin()
  }

  /** @throws RunWorkerError when it cannot be done, or no answer came in time */
  ask<N extends RunRequestName>(ask: RunRequests[N]['ask'] & { type: N }): Promise<RunRequests[N]['answer']> {
    const id = ++this.#lastId
    return new Promise((resolve, reject) => {
      const timer =
        ask.type === 'open'
          ? 0
          : window.setTimeout(
              () => this.#settle(id)?.reject(new RunWorkerError('no_answer', 'no answer within 30 s')),
              answerMs,
            )
      this.#waiting.set(id, { resolve: resolve as (answer: never) => void, reject, timer })
      this.#worker ??= this.#begin()
      this.#worker.postMessage({ id, ask: ask as RunAsk } satisfies ToRunWorker)
    })
  }

  /** Tells how one run comes along, until the returned function is called. */
  follow(run: string, listen: RunListener): () => void {
    this.#progress.set(run, listen)
    return () => {
      if (this.#progress.get(run) === listen) this.#progress.delete(run)
    }
  }

  #begin(): Worker {
    const worker = this.#createWorker()
    let hasSpoken = false
    worker.onmessage = (event: MessageEvent<FromRunWorker>) => {
      hasSpoken = true
      this.#hear(event.data)
    }
    worker.onerror = (event) => {
      // One that could not even be loaded is tried again at the next question.
      if (!hasSpoken) this.#worker = undefined
      for (const id of [...this.#waiting.keys()])
        this.#settle(id)?.reject(new RunWorkerError('worker', event.message || 'the run worker failed'))
    }
    return worker
  }

  #hear(message: FromRunWorker): void {
    if (message.type === 'progress') {
      this.#progress.get(message.run)?.progress({ share: message.share, words: message.words })
      return
    }
    if (message.type === 'scanned') {
      this.#progress.get(message.run)?.scanned(message.scanned)
      return
    }
    const waiting = this.#settle(message.id)
    if (message.type === 'answer') waiting?.resolve(message.answer as never)
    else waiting?.reject(new RunWorkerError(message.code, message.text))
  }

  #settle(id: number) {
    const waiting = this.#waiting.get(id)
    this.#waiting.delete(id)
    if (waiting) clearTimeout(waiting.timer)
    return waiting
  }
}
