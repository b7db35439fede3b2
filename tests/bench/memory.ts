import { spawn } from 'node:child_process'
import { EventEmitter } from 'node:events'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parseArgs } from 'node:util'
import type { WebSocket } from 'ws'
import { Bridge } from '../../bridge/bridge.ts'
import { silentLogger } from '../../bridge/logger.ts'
import { boardReading } from '../../bridge/source/lineReading.ts'
import type { Source, SourceSink } from '../../bridge/source/source.ts'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { decodeStreamFrame } from '../../core/contract/streamFrame.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { TraceHistory } from '../../dashboard/worker/traceHistory.ts'
import { createEndlessBoard } from './endlessBoard.ts'

/*
 * Memory over a simulated day of streaming, as fast as the machine goes: a board's lines at 100 Hz with 16 channels through the real bridge (source chain,
 * recorder, kept lines, live stream) to two pages, of which one takes nothing; and, in a process of its own, the same through what a page keeps (the live
 * pipeline with its half hour, the trace). The clocks follow the simulation. After each hour memory is read behind a forced collection.
 * Usage: npx tsx tests/bench/memory.ts [--hours N]
 */

const { values: flags } = parseArgs({
  options: { hours: { type: 'string', default: '24' }, part: { type: 'string' } },
})
const hours = Number(flags.hours)
/** Hours that the last ones are held against: in the first, all that is kept has been filled. */
const firstHours = [1, 2]
const stepS = 0.03
/** A page reads the pipeline about so often, s. */
const readEveryS = 0.033

const clock = { nowS: 0, startMs: Date.parse('2024-05-04T08:00:00Z') }
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms))

/** The clocks of the simulation in place of the machine's: block batching and pings go by them. */
function followSimulation(): void {
  performance.now = () => clock.nowS * 1000
}

interface Memory {
  /** What is reachable: JavaScript's heap and the arrays outside of it, MB. */
  liveMb: number
  residentMb: number
}

async function readMemory(): Promise<Memory> {
  // What waits for the disk is written by timers of the real clock.
  await pause(500)
  const collect = (globalThis as unknown as { gc(): void }).gc
  collect()
  await pause(50)
  collect()
  const { heapUsed, external, rss } = process.memoryUsage()
  return { liveMb: (heapUsed + external) / 1e6, residentMb: rss / 1e6 }
}

/** Runs the day; `step` is called for each 30 ms of it. */
async function runDay(step: () => void): Promise<Memory[]> {
  const readings: Memory[] = []
  for (let hour = 1; hour <= hours; hour++) {
    for (let second = 0; second < 3600; second++) {
      for (const endS = clock.nowS + 1; clock.nowS < endS; ) step()
      await new Promise((resolve) => setImmediate(resolve))
    }
    const memory = await readMemory()
    readings.push(memory)
    process.stderr.write(
      `${flags.part}, hour ${hour}: ${memory.liveMb.toFixed(1)} MB kept, ${memory.residentMb.toFixed(0)} MB resident\n`,
    )
  }
  return readings
}

/** A socket as the stream uses it; `take` gets what is sent, without it nothing is ever taken. */
function createSocket(take?: (message: Uint8Array | string) => void): WebSocket {
  const socket = Object.assign(new EventEmitter(), {
    OPEN: 1,
    readyState: 1,
    bufferedAmount: 0,
    send(message: Uint8Array | string, sent?: () => void) {
      if (!take) {
        socket.bufferedAmount += message.length
        return
      }
      take(message)
      if (sent) setImmediate(sent)
    },
    ping: () => socket.emit('pong'),
    close() {},
    terminate() {},
  })
  return socket as unknown as WebSocket
}

async function runBridge(): Promise<Memory[]> {
  const dataDir = await mkdtemp(join(tmpdir(), 'floatbowl-memory-'))
  const board = createEndlessBoard()
  let sink: SourceSink | undefined
  const source: Source = {
    name: 'bench',
    canAsk: true,
    start(target) {
      sink = target
      target.wire('open', '')
    },
    write: () => true,
    reopen() {},
    stop: async () => {},
  }
  const bridge = new Bridge({
    dataDir,
    version: 'bench',
    clock: { nowS: () => clock.nowS, wallMs: () => clock.startMs + clock.nowS * 1000 },
    logger: silentLogger,
    sources: [{ source, ...boardReading() }],
    car: 'bench',
    record: true,
  })
  let bytes = 0
  try {
    await bridge.start()
    bridge.stream.accept(
      createSocket((message) => {
        bytes += message.length
      }),
      'viewer',
    )
    bridge.stream.accept(createSocket(), 'viewer')
    const readings = await runDay(() => {
      clock.nowS += stepS
      sink!.bytes(board.until(clock.nowS), clock.nowS)
    })
    if (bytes === 0) throw new Error('the page that takes everything was sent nothing')
    return readings
  } finally {
    await bridge.stop()
    await rm(dataDir, { recursive: true, force: true })
  }
}

/** What the worker of a page keeps, fed with the frames of a stream. */
async function runPage(): Promise<Memory[]> {
  const { createBoardDecoder } = await import('../../core/line/boardDecoder.ts')
  const { encodeStreamFrame } = await import('../../core/contract/streamFrame.ts')
  const board = createEndlessBoard()
  const pipeline = createPipeline({ historyS: 1800 })
  const trace = new TraceHistory()
  let channels: SampleBlock['channels'] = []
  let number = 0
  let readS = 0
  let trusted = 0
  const take = (message: Uint8Array) => {
    const block = { ...decodeStreamFrame(message.buffer as ArrayBuffer), channels }
    pipeline.push(block)
    trace.push(block, 0)
    if (clock.nowS - readS < readEveryS) return
    readS = clock.nowS
    const reading = pipeline.live()
    trace.pushReading(reading, 0)
    if (reading.banks[0]?.lambda !== undefined && !Number.isNaN(reading.banks[0].lambda)) trusted++
  }
  const decoder = createBoardDecoder({
    emit: {
      block(block) {
        channels = block.channels
        take(encodeStreamFrame(number++, block))
      },
      event: (event) => pipeline.event(event),
    },
  })
  const readings = await runDay(() => {
    clock.nowS += stepS
    decoder.push(board.until(clock.nowS), clock.nowS)
  })
  if (trusted === 0) throw new Error('no reading of the day had a trusted λ')
  return readings
}

const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length

function growthPct(readings: readonly Memory[], key: keyof Memory): number {
  const values = readings.map((memory) => memory[key])
  return 100 * (mean(values.slice(-2)) / mean(firstHours.map((hour) => values[hour - 1])) - 1)
}

if (flags.part) {
  followSimulation()
  const readings = flags.part === 'bridge' ? await runBridge() : await runPage()
  const growth = (key: keyof Memory) =>
    `${growthPct(readings, key) >= 0 ? '+' : ''}${growthPct(readings, key).toFixed(1)} %`
  const last = readings.at(-1)!
  console.log(
    `${flags.part}, ${hours} h at 100 Hz, 16 channels: kept ${last.liveMb.toFixed(1)} MB, ${growth('liveMb')} against hours ${firstHours.join(' and ')}; resident ${last.residentMb.toFixed(0)} MB, ${growth('residentMb')} (target flat within 5 %)`,
  )
  process.exit()
}

for (const part of ['bridge', 'page']) {
  const child = spawn(
    process.execPath,
    [
      '--expose-gc',
      '--import',
      'tsx',
      fileURLToPath(import.meta.url),
      '--part',
      part,
      '--hours',
      String(hours),
    ],
    { stdio: 'inherit' },
  )
  const code = await new Promise((resolve) => child.once('exit', resolve))
  if (code !== 0) process.exitCode = 1
}
