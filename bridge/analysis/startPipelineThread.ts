import type { ItemTaker } from './analyseFile.ts'
import { buffersOf, type FedResult, type FeedStart, type FromAnalysis, type ToAnalysis } from './feed.ts'
import { takeThread } from './threadAhead.ts'

/** Messages under way to the thread at most, some times those that it answers together: a chunk of the file each, so memory does not grow when it falls behind. */
const MOST_UNDER_WAY = 64

/** Starts the pipeline in a thread of its own. */
export function startPipelineThread({ car, targets }: FeedStart): ItemTaker {
  const start: FeedStart = { ...(car ? { car } : {}), ...(targets ? { targets } : {}) }
  const worker = takeThread()
  let underWay = 0
  let failure: Error | undefined
  let result: FedResult | undefined
  let wake = () => {}
  worker.on('message', (message: FromAnalysis) => {
    if (message.what === 'done') underWay -= message.messages
    else result = message.result
    wake()
  })
  worker.on('error', (error) => {
    failure = error instanceof Error ? error : new Error(String(error))
    wake()
  })
  /** Waits until the thread has come so far. @throws what ended the thread */
  async function until(isSo: () => boolean): Promise<void> {
    while (!failure && !isSo()) {
      await new Promise<void>((resolve) => {
        wake = resolve
      })
    }
    if (failure) throw failure
  }
  const tell = (message: ToAnalysis, buffers: ArrayBuffer[] = []) => worker.postMessage(message, buffers)
  tell({ what: 'start', start })
  return {
    async take(items) {
      if (items.length === 0) return
      await until(() => underWay < MOST_UNDER_WAY)
      underWay++
      tell({ what: 'items', items }, buffersOf(items))
    },
    async end(end, asText) {
      tell({ what: 'end', end, asText })
      await until(() => result !== undefined)
      return result!
    },
    close: () => void worker.terminate(),
  }
}
