import '../contentPolicy.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'
import { OpenError, type OpenRun, openRun } from './openRun.ts'
import type { FromRunWorker, OpenRequest, ReplayReading, RunAsk, ToRunWorker } from './runMessages.ts'

/*
 * Opens runs and answers for them: analysis, columns to draw, the live reading at any moment, comparison and advice. All of it by core's own code.
 */

/** Runs kept with all their samples, and analyses kept without. */
const mostOpen = 2
const mostAnalyses = 60

const open = new Map<string, OpenRun>()
const analyses = new Map<string, RunAnalysis>()
const opening = new Map<string, AbortController>()

const post = (message: FromRunWorker, transfer: Transferable[] = []) =>
  self.postMessage(message, { transfer })
const later = () => new Promise<void>((resolve) => setTimeout(resolve, 0))

self.onmessage = (event: MessageEvent<ToRunWorker>) => {
  const { id, ask } = event.data
  answer(ask).then(
    (given) => post({ type: 'answer', id, answer: given }, transferOf(given)),
    (error: unknown) =>
      post({
        type: 'failed',
        id,
        code: error instanceof OpenError ? error.code : 'failed',
        text: error instanceof Error ? error.message : String(error),
      }),
  )
}

async function answer(ask: RunAsk): Promise<unknown> {
  switch (ask.type) {
    case 'open':
      return await openOne(ask)
    case 'cancel':
      opening.get(ask.run)?.abort()
      return null
    case 'columns':
      return requireOpen(ask.run).columns.answer(ask.fromS, ask.toS, ask.columnCount, ask.channels)
    case 'reading':
      return requireOpen(ask.run).replay.at(ask.timeS) ?? null
    case 'step':
      return step(requireOpen(ask.run), ask.timeS, ask.by)
    case 'compare':
      return compareRuns(requireAnalysis(ask.a), requireAnalysis(ask.b), {
        ...(ask.car ? { car: ask.car } : {}),
        ...(ask.mixture ? { mixtureUnit: ask.mixture } : {}),
      })
    case 'advise':
      return advise(ask.runs.map(requireAnalysis), ask.parts, {
        ...(ask.car ? { car: ask.car } : {}),
        ...(ask.mixture ? { mixtureUnit: ask.mixture } : {}),
        ...(ask.bore ? { boreUnit: ask.bore } : {}),
        ...(ask.checked ? { checked: ask.checked } : {}),
      })
  }
}

async function openOne(ask: OpenRequest) {
  opening.get(ask.run)?.abort()
  const controller = new AbortController()
  opening.set(ask.run, controller)
  try {
    let toldMs = 0
    const run = await openRun(ask, controller.signal, {
      progress(share, words) {
        const nowMs = performance.now()
        if (share !== null && nowMs - toldMs < 100) return
        toldMs = nowMs
        post({ type: 'progress', run: ask.run, share, words })
      },
      scanned(scanned) {
        post({ type: 'scanned', run: ask.run, scanned }, transferOf(scanned.overview))
      },
    })
    keep(analyses, ask.run, run.opened.analysis, mostAnalyses)
    if (ask.keeps) {
      keep(open, ask.run, run, mostOpen)
      void buildReplay(ask.run, run)
    }
    return run.opened
  } finally {
    if (opening.get(ask.run) === controller) opening.delete(ask.run)
  }
}

/** Runs in the pauses between requests, and ends when the run was put away. */
async function buildReplay(key: string, run: OpenRun): Promise<void> {
  // Requests for the first charts go before.
  await new Promise<void>((resolve) => setTimeout(resolve, 150))
  const { startS, endS } = run.opened
  let pausedMs = performance.now()
  for (const timeS of run.replay.build()) {
    if (performance.now() - pausedMs < 40) continue
    post({
      type: 'progress',
      run: key,
      share: Math.min(0.99, (timeS - startS) / Math.max(1, endS - startS)),
      words: 'replay',
    })
    await later()
    pausedMs = performance.now()
    if (open.get(key) !== run) return
  }
  post({ type: 'progress', run: key, share: 1, words: 'replay' })
}

function step({ columns, replay }: OpenRun, timeS: number, by: 1 | -1): ReplayReading | null {
  const board = columns.board
  if (!board || board.count === 0) return null
  // Half a microsecond of room: times came through a slider.
  const next = by > 0 ? board.indexAt(timeS + 5e-7) : board.indexAt(timeS - 5e-7) - 1
  const index = Math.max(0, Math.min(board.count - 1, next))
  return replay.exactAt(board.timeS[index]) ?? null
}

/** Newest last; the one not used for longest leaves. */
function keep<T>(into: Map<string, T>, key: string, value: T, most: number): void {
  into.delete(key)
  into.set(key, value)
  for (const oldest of into.keys()) {
    if (into.size <= most) return
    into.delete(oldest)
  }
}

function requireOpen(key: string): OpenRun {
  const run = open.get(key)
  if (!run) throw new OpenError('not_open', `run ${key} is not open`)
  return run
}

function requireAnalysis(key: string): RunAnalysis {
  const run = analyses.get(key)
  if (!run) throw new OpenError('not_open', `run ${key} is not open`)
  return run
}

function transferOf(given: unknown): Transferable[] {
  if (!given || typeof given !== 'object' || !('timeS' in given) || !('values' in given)) return []
  const { timeS, values } = given as { timeS: Float64Array; values: Float32Array[] }
  return [timeS.buffer as ArrayBuffer, ...values.map((column) => column.buffer as ArrayBuffer)]
}
