import { statSync } from 'node:fs'
import { availableParallelism } from 'node:os'
import { isMainThread, type Worker } from 'node:worker_threads'
import { startThread } from './startThread.ts'

/** A thread's start costs more than it gains for a shorter file, bytes; of a packed one, so many. Measured on two processors. */
const LEAST_BYTES_FOR_THREAD = 3 << 20
const LEAST_PACKED_BYTES_FOR_THREAD = 1 << 20

/** True when a file is long enough to be worked on by two threads, and the machine has them. */
export function isWorthThread(path: string, bytes: number): boolean {
  const least = path.endsWith('.gz') ? LEAST_PACKED_BYTES_FOR_THREAD : LEAST_BYTES_FOR_THREAD
  return bytes >= least && isMainThread && availableParallelism() > 1
}

const newThread = () => startThread('analysis/pipelineThread', {})

let ahead: Worker | undefined

/** Starts the pipeline's thread when the command line looks as if it will be wanted: `analyse` with a single long file. */
export function startThreadAhead([command, ...words]: readonly string[]): void {
  if (command !== 'analyse') return
  const paths = words.filter((word) => !word.startsWith('-'))
  if (paths.length !== 1) return
  if (!isWorthThread(paths[0], sizeOf(paths[0]))) return
  ahead = newThread()
  // It keeps nothing from ending, should the command turn out to be a wrong one.
  ahead.unref()
}

/** The thread that was started ahead, or a new one. */
export function takeThread(): Worker {
  const worker = ahead ?? newThread()
  ahead = undefined
  worker.ref()
  return worker
}

/** Size of a file, bytes; 0 where it cannot be told: the command says why, in its turn. */
function sizeOf(path: string): number {
  try {
    return statSync(path).size
  } catch {
    return 0
  }
}
