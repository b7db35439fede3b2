import { parentPort, workerData } from 'node:worker_threads'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { type FeedStart, type FromAnalysis, type ToAnalysis, takeItems } from './feed.ts'

/*
 * The pipeline of one run in a thread of its own, so that it works while the file is still being read.
 */

const { car, targets } = workerData.start as FeedStart
const pipeline = createPipeline({
  ...(car ? { car, carWins: true } : {}),
  ...(targets ? { targets } : {}),
  expectsResult: true,
})
const tell = (message: FromAnalysis) => parentPort!.postMessage(message)

parentPort!.on('message', (message: ToAnalysis) => {
  if (message.what === 'items') {
    takeItems(pipeline, message.items)
    tell({ what: 'done' })
    return
  }
  const analysis = pipeline.analysis(message.end)
  tell({ what: 'result', result: message.asText ? JSON.stringify(analysis.result) : analysis })
  parentPort!.close()
})
