import { parentPort } from 'node:worker_threads'
import { createFedPipeline, type FedPipeline } from './fedPipeline.ts'
import type { FromAnalysis, ToAnalysis } from './feed.ts'

/*
 * The pipeline of one run in a thread of its own, so that it works while the file is still being read.
 */

/** It tells that it is done after so many messages: each answer wakes the other thread, which takes longer than to send it. */
const ANSWERS_EVERY = 16

let pipeline: FedPipeline
let done = 0
const tell = (message: FromAnalysis) => parentPort!.postMessage(message)

parentPort!.on('message', (message: ToAnalysis) => {
  if (message.what === 'start') {
    pipeline = createFedPipeline(message.start)
    return
  }
  if (message.what === 'items') {
    pipeline.take(message.items)
    if (++done === ANSWERS_EVERY) {
      tell({ what: 'done', messages: done })
      done = 0
    }
    return
  }
  tell({ what: 'result', result: pipeline.end(message.end, message.asText) })
  parentPort!.close()
})
