import { parentPort, workerData } from 'node:worker_threads'
import { createFedPipeline } from './fedPipeline.ts'
import type { FeedStart, FromAnalysis, ToAnalysis } from './feed.ts'

/*
 * The pipeline of one run in a thread of its own, so that it works while the file is still being read.
 */

const pipeline = createFedPipeline(workerData.start as FeedStart)
const tell = (message: FromAnalysis) => parentPort!.postMessage(message)

parentPort!.on('message', (message: ToAnalysis) => {
  if (message.what === 'items') {
    pipeline.take(message.items)
    tell({ what: 'done' })
    return
  }
  tell({ what: 'result', result: pipeline.end(message.end, message.asText) })
  parentPort!.close()
})
