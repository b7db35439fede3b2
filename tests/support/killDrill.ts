import { type ChildProcess, spawn } from 'node:child_process'
import { mkdtemp, readFile, rm } from 'node:fs/promises'
import { createRequire } from 'node:module'
import { type AddressInfo, createServer, type Server, type Socket } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { checkRun } from '../../bridge/checkRun.ts'
import { findCaptures, until } from './bridgeHarness.ts'
import { createTestBoard } from './testBoard.ts'

export interface KillOutcome {
  /** Newest sample that the board had sent this long before the kill, s; NaN when nothing was kept. */
  lostS: number
  unreadable: number
  tornEnd: boolean
}

const root = new URL('../..', import.meta.url).pathname

/** A board on a network port: 100 samples a second by its own clock. Remembers when each sample was sent. */
async function openTcpBoard(): Promise<{ port: number; sentAtMs: number[]; close(): void }> {
  const board = createTestBoard()
  const sentAtMs: number[] = []
  const sockets = new Set<Socket>()
  const server: Server = createServer((socket) => {
    sockets.add(socket)
    socket.on('error', () => {})
    socket.on('close', () => sockets.delete(socket))
    socket.write(board.greeting())
  })
  const startMs = performance.now()
  const timer = setInterval(() => {
    if (sockets.size === 0) return
    const due = Math.floor((performance.now() - startMs) / 10) - sentAtMs.length
    if (due <= 0) return
    const text = board.samples(due)
    for (let i = 0; i < due; i++) sentAtMs.push(performance.now())
    for (const socket of sockets) socket.write(text)
  }, 5)
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  return {
    port: (server.address() as AddressInfo).port,
    sentAtMs,
    close() {
      clearInterval(timer)
      for (const socket of sockets) socket.destroy()
      server.close()
    },
  }
}

function startRecordingBridge(port: number, dataDir: string, bundle: boolean): ChildProcess {
  const loader = pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href
  const program = bundle
    ? [join(root, 'dist', 'node', 'floatbowl.js')]
    : ['--import', loader, join(root, 'bridge', 'main.ts')]
  const words = [
    'serve',
    '--port',
    `tcp://127.0.0.1:${port}`,
    '--listen',
    '127.0.0.1:0',
    '--data',
    dataDir,
    '--record',
  ]
  return spawn(process.execPath, [...program, ...words], { stdio: 'ignore' })
}

/** Number of the newest sample in a capture, −1 without any. */
async function newestSample(path: string): Promise<number> {
  const text = await readFile(path, 'latin1')
  const whole = text.slice(0, text.lastIndexOf('\n'))
  const found = [...whole.matchAll(/ <0 S,(\d+),/g)]
  return found.length > 0 ? Number(found[found.length - 1][1]) : -1
}

/** Starts a bridge that records a board, ends it with SIGKILL after some time of recording, and looks at what is left. */
export async function killWhileRecording(
  afterMs: number,
  options: { bundle?: boolean } = {},
): Promise<KillOutcome> {
  const dataDir = await mkdtemp(join(tmpdir(), 'floatbowl-kill-'))
  const board = await openTcpBoard()
  const child = startRecordingBridge(board.port, dataDir, options.bundle ?? false)
  const ended = new Promise((resolve) => child.once('exit', resolve))
  try {
    await until(
      async () => {
        const [path] = await findCaptures(dataDir)
        return path !== undefined && (await newestSample(path)) >= 0
      },
      'the recording begins',
      60_000,
    )
    await new Promise((resolve) => setTimeout(resolve, afterMs))
    const killedMs = performance.now()
    child.kill('SIGKILL')
    await ended
    let unreadable = 0
    let tornEnd = false
    let newest = -1
    for (const path of await findCaptures(dataDir)) {
      await checkRun(path).then(
        (report) => {
          tornEnd = report.torn_end
        },
        () => {
          unreadable++
        },
      )
      newest = Math.max(newest, await newestSample(path))
    }
    return { lostS: (killedMs - board.sentAtMs[newest]) / 1000, unreadable, tornEnd }
  } finally {
    child.kill('SIGKILL')
    await ended
    board.close()
    await rm(dataDir, { recursive: true, force: true })
  }
}
