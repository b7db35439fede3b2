import { Worker, type WorkerOptions } from 'node:worker_threads'

/** From its sources, a thread must first be taught to read them; the library's own start does that for the main thread only. */
const sourceStarter = `
const { workerData } = require('node:worker_threads')
import(workerData.loader).then(({ register }) => {
  register()
  return import(workerData.entry)
})`

/**
 * Starts a program in a worker thread, from the build or from its sources.
 * @param entry address of the file; its `workerData` keep what `options` give
 */
export function startWorker(entry: URL, options: WorkerOptions): Worker {
  if (!entry.pathname.endsWith('.ts')) return new Worker(entry, options)
  const workerData = {
    ...options.workerData,
    loader: import.meta.resolve('tsx/esm/api'),
    entry: entry.href,
  }
  return new Worker(sourceStarter, { ...options, eval: true, workerData })
}

/** The bridge's threads, by their files. */
export type ThreadFile = 'analysis/pipelineThread' | 'cli/commandThread'

/** Starts one of the bridge's threads: in the build it lies beside the program, and parts of that may be a folder deeper. */
export function startThread(file: ThreadFile, options: WorkerOptions): Worker {
  const here = import.meta.url
  const built = `${here.includes('/parts/') ? '../' : './'}${file.slice(file.lastIndexOf('/') + 1)}.js`
  const path = here.endsWith('.ts') ? `../${file}.ts` : built
  return startWorker(new URL(path, here), options)
}
