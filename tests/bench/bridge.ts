import { spawn } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { mkdtemp, rm } from 'node:fs/promises'
import { type AddressInfo, createServer } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import WebSocket from 'ws'
import { createClock } from '../../bridge/clock.ts'
import { silentLogger } from '../../bridge/logger.ts'
import { createSerialSource } from '../../bridge/source/serialSource.ts'
import { streamProtocol } from '../../core/contract/stream.ts'
import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { until } from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'

/*
 * The bridge's share of a core at 100 Hz, 16 channels, 4 pages and a recording, against the same process idle; and how fast bytes come
 * through a pseudo-terminal. Needs the build. `tsx tests/bench/bridge.ts [seconds]`
 */

const seconds = Number(process.argv[2] ?? 20)
/** The bridge runs for hours: it is measured once what it runs all the time has been compiled. */
const settleS = 30
const root = new URL('../..', import.meta.url).pathname
const channels = Array.from({ length: 16 }, (_, i) => [`input_${i + 1}`, 'V'] as const)

/** Processor seconds used by a process so far (Linux: clock ticks of 10 ms). */
function cpuSeconds(pid: number): number {
  const fields = readFileSync(`/proc/${pid}/stat`, 'latin1').split(') ')[1].split(' ')
  return (Number(fields[11]) + Number(fields[12])) / 100
}

const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms))

async function measureShare(pid: number): Promise<number> {
  const before = cpuSeconds(pid)
  const startMs = performance.now()
  await pause(seconds * 1000)
  return (100 * (cpuSeconds(pid) - before)) / ((performance.now() - startMs) / 1000)
}

async function benchLoad(): Promise<void> {
  const board = createTestBoard({ channels, readingOf: (_name, sample) => (sample % 5000) / 1000 })
  let timer: NodeJS.Timeout | undefined
  const server = createServer((socket) => {
    socket.on('error', () => {})
    socket.write(board.greeting())
    const startMs = performance.now()
    let sent = 0
    timer = setInterval(() => {
      const due = Math.floor((performance.now() - startMs) / 10) - sent
      if (due > 0) socket.write(board.samples(due))
      sent += Math.max(0, due)
    }, 10)
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const dataDir = await mkdtemp(join(tmpdir(), 'floatbowl-bench-'))
  const run = async (words: string[], pages: number) => {
    const child = spawn(
      process.execPath,
      [join(root, 'dist/node/floatbowl.js'), 'serve', '--listen', '127.0.0.1:0', '--data', dataDir, ...words],
      { stdio: ['ignore', 'pipe', 'ignore'] },
    )
    let address = ''
    child.stdout.on('data', (part) => {
      address += part
    })
    await until(() => address.includes('\n'), 'the address')
    const sockets = Array.from({ length: pages }, () => {
      const socket = new WebSocket(`${address.trim().replace('http', 'ws')}live`, streamProtocol)
      socket.on('error', () => {})
      return socket
    })
    await pause(1000 * settleS)
    const share = await measureShare(child.pid as number)
    for (const socket of sockets) socket.terminate()
    child.kill('SIGTERM')
    await new Promise((resolve) => child.once('exit', resolve))
    return share
  }
  const idle = await run([], 0)
  const { port } = server.address() as AddressInfo
  const loaded = await run(['--port', `tcp://127.0.0.1:${port}`, '--record'], 4)
  clearInterval(timer)
  server.close()
  await rm(dataDir, { recursive: true, force: true })
  console.log(
    `bridge, 100 Hz, 16 channels, 4 pages, recording: ${loaded.toFixed(1)} % of a core, idle ${idle.toFixed(1)} %, difference ${(loaded - idle).toFixed(1)} % (target ≤ 5 %)`,
  )
}

/** Bytes a second on a wire of this speed: 10 bits a byte. */
const wireBytesS = 921_600 / 10

/** Another process writes a file's worth of lines into the terminal as fast as they are taken. */
async function benchPty(): Promise<void> {
  const { openPty } = await import('../support/pty.ts')
  const pty = openPty()
  const clock = createClock()
  let samples = 0
  let bytes = 0
  const decoder = createBoardDecoder({
    emit: {
      block(block) {
        samples += block.count
      },
    },
  })
  let isOpen = false
  const source = createSerialSource({
    path: pty.path,
    baud: 921_600,
    clock,
    logger: silentLogger,
    canAsk: false,
  })
  source.start({
    bytes(chunk, arrivalS) {
      bytes += chunk.length
      decoder.push(chunk, arrivalS)
    },
    wire(state) {
      isOpen = state === 'open'
    },
  })
  await until(() => isOpen, 'the terminal is open')
  const board = createTestBoard({ channels, readingOf: (_name, sample) => (sample % 5000) / 1000 })
  const text = board.greeting() + board.samples(100_000)
  const { fd } = (pty.master as unknown as { _handle: { fd: number } })._handle
  const startMs = performance.now()
  const cpu = process.cpuUsage()
  const writer = spawn('cat', [], { stdio: ['pipe', fd, 'ignore'] })
  writer.stdin?.end(text)
  await until(() => samples === 100_000, 'all samples', 120_000)
  const passedS = (performance.now() - startMs) / 1000
  const used = process.cpuUsage(cpu)
  await source.stop()
  pty.hangUp()
  const rate = bytes / passedS
  const busyS = (used.user + used.system) / 1e6
  console.log(
    `pseudo-terminal to columns: ${(rate / 1e6).toFixed(1)} MB/s, ${Math.round(samples / passedS)} lines/s, ${(rate / wireBytesS).toFixed(0)} × a 921600 baud wire; by processor time ${(bytes / busyS / wireBytesS).toFixed(0)} × (target ≥ 100 ×)`,
  )
}

await benchLoad()
await benchPty()
