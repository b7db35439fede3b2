import { bridgeNotice, fromSource, jsonRecord, parseCaptureLine } from '../../core/capture/captureLine.ts'
import { checkRecord, parseJsonObject } from '../../core/capture/captureRecord.ts'
import { unescapeBytes } from '../../core/capture/escape.ts'
import { captureHeader } from '../../core/capture/formatCapture.ts'
import { type ReadAs, readAsOf } from '../../core/capture/readAs.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import { openRun } from '../analysis/openRun.ts'
import { BridgeError, errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Source, SourceSink } from './source.ts'

export interface ReplayOptions {
  /** Path of a capture, packed or not. */
  path: string
  clock: Clock
  /** Marks, notes, car and parts of the run, at their moments. */
  onRecord: (record: CaptureRecord) => void
  /** The lines of a source of the run mean something else from here on. */
  onReadAs?: (entry: ReadAs) => void
  /** Called at the end of the run. */
  onEnd?: () => void
}

/** Lines due within this time are sent together, s. */
const stepS = 0.01
const lineFeed = 10

/**
 * Numbers of the sources that a capture holds, found by its first megabyte, and what its start record says of them.
 * @throws BridgeError `no_capture`
 */
export async function findReplaySources(
  path: string,
): Promise<{ numbers: number[]; sources: readonly unknown[] }> {
  const found = new Set<number>()
  let sources: readonly unknown[] = []
  let seenBytes = 0
  for await (const { kind, source, bytes } of readLines(path)) {
    if (kind === fromSource) found.add(source)
    else if (kind === jsonRecord) {
      const record = parseRecord(bytes)
      if (record?.type === 'start' && record.sources) sources = record.sources
    }
    seenBytes += bytes.length
    if (seenBytes > 1_000_000) break
  }
  return { numbers: [...found].sort((a, b) => a - b), sources }
}

/**
 * A recorded run that comes again as if live: one source for each of the run's, all fed from one reading of the file in real time.
 */
export function createReplaySources(numbers: readonly number[], options: ReplayOptions): Source[] {
  const { path, clock, onRecord, onReadAs, onEnd } = options
  const sinks = new Map<number, SourceSink>()
  let running: Promise<void> | undefined
  const stopping = new AbortController()

  const pause = (ms: number) =>
    new Promise<void>((resolve) => {
      const done = () => {
        clearTimeout(timer)
        stopping.signal.removeEventListener('abort', done)
        resolve()
      }
      const timer = setTimeout(done, ms)
      stopping.signal.addEventListener('abort', done)
    })

  const run = async () => {
    for (const sink of sinks.values()) sink.wire('open', 'replaying')
    let zeroS = Number.NaN
    for await (const { timeS, kind, source, bytes } of readLines(path)) {
      if (stopping.signal.aborted) return
      if (kind === jsonRecord) {
        const record = parseRecord(bytes)
        if (record && record.type !== 'start' && record.type !== 'stop') onRecord(record)
        continue
      }
      if (kind === bridgeNotice) {
        const notice = parseJsonObject(bytes)
        const entry = typeof notice === 'string' ? undefined : readAsOf(notice)
        if (entry) onReadAs?.(entry)
        continue
      }
      if (kind !== fromSource) continue
      if (Number.isNaN(zeroS)) zeroS = clock.nowS() - timeS
      const dueS = zeroS + timeS
      const waitS = dueS - clock.nowS()
      if (waitS > stepS) await pause(waitS * 1000)
      if (stopping.signal.aborted) return
      // The run's own spacing, not this machine's timers, sets the arrival times.
      sinks.get(source)?.bytes(bytes, dueS)
    }
    for (const sink of sinks.values()) sink.wire('lost', 'the replayed run is over')
    onEnd?.()
  }

  return numbers.map((number) => ({
    name: path,
    isPretend: true,
    canAsk: false,
    start(sink) {
      sinks.set(number, sink)
      sink.wire('connecting', 'opening the run')
      // All chains start within one turn; the reading begins after it.
      running ??= Promise.resolve()
        .then(run)
        .catch((error: unknown) => {
          for (const each of sinks.values())
            each.wire('lost', `the run cannot be replayed: ${errorText(error)}`)
        })
    },
    write: () => false,
    reopen() {},
    async stop() {
      stopping.abort()
      await running
    },
  }))
}

interface ReplayLine {
  timeS: number
  kind: number
  source: number
  /** Payload as it came, a source's line with its line feed. */
  bytes: Uint8Array
}

/** The lines of a capture, one after the other; unreadable ones are passed over. @throws BridgeError `no_capture` */
async function* readLines(path: string): AsyncGenerator<ReplayLine> {
  const { file, bytes: stream } = await openRun(path, 64 * 1024)
  const parts = { timeS: 0, kind: 0, source: 0, payloadAt: 0 }
  let held: Buffer = Buffer.alloc(0)
  let isFirst = true
  try {
    for await (const chunk of stream) {
      const bytes = held.length > 0 ? Buffer.concat([held, chunk as Buffer]) : (chunk as Buffer)
      let start = 0
      for (let end = bytes.indexOf(lineFeed); end >= 0; end = bytes.indexOf(lineFeed, start)) {
        if (isFirst) requireHeader(path, bytes.toString('latin1', start, end))
        else if (parseCaptureLine(bytes, start, end, parts)) {
          const payload = unescapeBytes(bytes.subarray(parts.payloadAt, end))
          const isLine = parts.kind === fromSource
          const out = new Uint8Array(payload.length + (isLine ? 1 : 0))
          out.set(payload)
          if (isLine) out[payload.length] = lineFeed
          yield { timeS: parts.timeS, kind: parts.kind, source: parts.source, bytes: out }
        }
        isFirst = false
        start = end + 1
      }
      held = Buffer.from(bytes.subarray(start))
      if (held.length > 1 << 20) held = Buffer.alloc(0)
    }
    if (isFirst) requireHeader(path, held.toString('latin1'))
  } finally {
    file.destroy()
  }
}

function requireHeader(path: string, line: string): void {
  if (line.trimEnd() !== captureHeader) {
    throw new BridgeError(
      'no_capture',
      `${path} is no capture file (its first line should be "${captureHeader}")`,
    )
  }
}

function parseRecord(bytes: Uint8Array): CaptureRecord | undefined {
  const value = parseJsonObject(bytes)
  if (typeof value === 'string') return undefined
  const record = checkRecord(value)
  return typeof record === 'string' ? undefined : record
}
