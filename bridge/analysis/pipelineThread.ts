import { parentPort } from 'node:worker_threads'
import { createFedPipeline, type FedPipeline } from './fedPipeline.ts'
import type { FromAnalysis, ToAnalysis } from './feed.ts'

/*
 * The pipeline of one run in a thread of its own, so that it works while the file is still being read.
 */

let pipeline: FedPipeline
const tell = (message: FromAnalysis) => parentPort!.postMessage(message)

parentPort!.on('message', (message: ToAnalysis) => {
  if (message.what === 'start') {
    pipeline = createFedPipeline(message.start)
    return
  }
  if (message.what === 'items') {
    pipeline.take(message.items)
    tell({ what: 'done' })
    return
  }
  tell({ what: 'result', result: pipeline.end(message.end, message.asText) })
  parentPort!.close()
})
