import { open, readdir, stat } from 'node:fs/promises'
import { join } from 'node:path'
import { formatCaptureLine } from '../../core/capture/formatCapture.ts'
import type { RunSummary } from '../../core/contract/api.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import { BridgeError } from '../bridgeError.ts'
import { isPackedFile } from '../isPackedFile.ts'
import { carIdPattern, findRunPath, parseRunId, runFilePattern, sessionPattern } from './runId.ts'
import { type RunHead, readRunHead } from './runSummary.ts'

interface Known {
  bytes: number
  changedMs: number
  head: RunHead
}

/** Heads of runs kept in memory: a few hundred bytes each. */
const mostKnown = 5000
/** The last line of a run is found in this many bytes of its end. */
const tailBytes = 64 * 1024

/** The runs of the data directory. */
export class RunStore {
  readonly #dataDir: string
  readonly #known = new Map<string, Known>()
  #appending: Promise<unknown> = Promise.resolve()

  constructor(dataDir: string) {
    this.#dataDir = dataDir
  }

  /** Path of a run, or undefined when the id is none or there is no such run. */
  path(id: string): Promise<string | undefined> {
    const parts = parseRunId(id)
    return parts ? findRunPath(this.#dataDir, parts) : Promise.resolve(undefined)
  }

  /** All runs, newest first. */
  async list(recordingRun?: string): Promise<RunSummary[]> {
    const runs: RunSummary[] = []
    for (const car of await names(this.#dataDir, carIdPattern, 'directory')) {
      for (const session of await names(join(this.#dataDir, car), sessionPattern, 'directory')) {
        for (const file of await names(join(this.#dataDir, car, session), runFilePattern, 'file')) {
          const run = await this.#summary(car, session, file)
          if (run) runs.push({ ...run, recording: run.id === recordingRun })
        }
      }
    }
    return runs.sort((a, b) => startMs(b) - startMs(a))
  }

  /** Appends a record to a finished run; nothing of it is rewritten. */
  append(id: string, record: CaptureRecord): Promise<void> {
    // One at a time: each looks for the end of the file first.
    const done = this.#appending.then(() => this.#append(id, record))
    this.#appending = done.catch(() => {})
    return done
  }

  async #append(id: string, record: CaptureRecord): Promise<void> {
    const path = await this.path(id)
    if (!path) throw new BridgeError('no_capture', `there is no run ${id}`)
    if (await isPackedFile(path)) {
      throw new BridgeError('no_capture', 'a compressed run cannot be edited: unpack it with gunzip first')
    }
    const file = await open(path, 'r+')
    try {
      const { size } = await file.stat()
      const tail = Buffer.alloc(Math.min(size, tailBytes))
      await file.read(tail, 0, tail.length, size - tail.length)
      // An edit after the drive takes the last time of the run, so that its length stays.
      const line = formatCaptureLine(lastTimeS(tail), '=', record)
      const torn = tail.length > 0 && tail[tail.length - 1] !== 10
      await file.write(torn ? `\n${line}` : line, size)
      await file.datasync()
    } finally {
      await file.close()
    }
  }

  async #summary(
    car: string,
    session: string,
    file: string,
  ): Promise<Omit<RunSummary, 'recording'> | undefined> {
    const id = `${car}/${session}/${file}`
    const path = await this.path(id)
    if (!path) return undefined
    const { size, mtimeMs } = await stat(path)
    let known = this.#known.get(id)
    if (known?.bytes !== size || known.changedMs !== mtimeMs) {
      known = { bytes: size, changedMs: mtimeMs, head: await readRunHead(path) }
      this.#known.delete(id)
      this.#known.set(id, known)
      if (this.#known.size > mostKnown) this.#known.delete(this.#known.keys().next().value as string)
    }
    return { id, car, session, bytes: size, ...known.head }
  }
}

const startMs = (run: RunSummary) => Date.parse(run.start) || 0

async function names(directory: string, pattern: RegExp, kind: 'directory' | 'file'): Promise<string[]> {
  const entries = await readdir(directory, { withFileTypes: true }).catch(() => [])
  return entries
    .filter((entry) => (kind === 'file' ? entry.isFile() : entry.isDirectory()) && pattern.test(entry.name))
    .map((entry) => entry.name)
}

/** Time of the last whole line, 0 when none can be read. */
function lastTimeS(tail: Buffer): number {
  const lines = tail.toString('latin1').split('\n')
  // The last piece is empty or torn.
  for (let i = lines.length - 2; i >= 0; i--) {
    const match = /^(-?\d+(?:\.\d+)?) [<>=!]/.exec(lines[i])
    if (match) return Math.max(0, Number(match[1]))
  }
  return 0
}
