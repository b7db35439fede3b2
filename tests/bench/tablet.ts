/*
 * A drive as a tablet sees it: the bridge as a process of its own records the simulator at its real rate, Chromium shows the drive page, nobody
 * touches it. Printed every ten minutes: frame rate, longest pause between two frames, heap of the page and of its worker after a
 * collection, memory of the bridge, samples that the page did not get, digits' age at worst.
 * Usage: npx tsx tests/bench/tablet.ts [--minutes N] [--every N] [--sim CAR]
 */
import { type ChildProcess, spawn } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import type { CDPSession, Page } from 'playwright'
import { launch, openPage, partText, until } from '../browser/support.ts'

const port = 4942
const root = new URL('../../', import.meta.url).pathname

const { values: flags } = parseArgs({
  options: {
    minutes: { type: 'string', default: '120' },
    every: { type: 'string', default: '10' },
    sim: { type: 'string', default: 'marigold' },
  },
})

/** What one stretch brought, counted in the page and in its worker. */
interface Stretch {
  frames: number
  seconds: number
  longestPauseMs: number
  /** Pauses of more than a tenth of a second: seen as a jerk. */
  jerks: number
  digitChanges: number
  readings: number
  oldestReadingS: number
  missedSamples: number
  reconnects: number
}

interface Received {
  samples: number
  blocks: number
  /** Numbers left out between two blocks. */
  lostBlocks: number
}

/** Counts frames, changes of the number, and what the worker says. Holds the worker back until its socket can be counted as well. */
function countInPage(): void {
  const count = {
    frames: 0,
    sinceMs: performance.now(),
    longestPauseMs: 0,
    jerks: 0,
    digitChanges: 0,
    readings: 0,
    oldestReadingS: 0,
    missedSamples: 0,
    reconnects: -1,
  }
  let lastMs = performance.now()
  let text = ''
  const frame = (nowMs: number) => {
    const pauseMs = nowMs - lastMs
    lastMs = nowMs
    count.frames++
    count.longestPauseMs = Math.max(count.longestPauseMs, pauseMs)
    if (pauseMs > 100) count.jerks++
    const number = document.querySelector('[data-part="number"]')?.textContent ?? ''
    if (number !== text) count.digitChanges++
    text = number
    requestAnimationFrame(frame)
  }
  requestAnimationFrame(frame)
  const held: [Worker, unknown][] = []
  let isHeld = true
  const { postMessage } = Worker.prototype
  Worker.prototype.postMessage = function (message: unknown) {
    if (isHeld) held.push([this, message])
    else postMessage.call(this, message)
  }
  const Real = Worker
  Object.assign(window, {
    Worker: class extends Real {
      constructor(url: string | URL, options?: WorkerOptions) {
        super(url, options)
        this.addEventListener('message', ({ data }) => {
          if (data.type === 'live') {
            count.readings++
            if (Number.isFinite(data.ageS)) count.oldestReadingS = Math.max(count.oldestReadingS, data.ageS)
          } else if (data.type === 'said' && data.message.type === 'missed')
            count.missedSamples += data.message.samples
          else if (data.type === 'link' && data.status.state === 'open') count.reconnects++
        })
      }
    },
    benchRelease: () => {
      isHeld = false
      for (const [worker, message] of held) postMessage.call(worker, message)
    },
    benchTake: (): Stretch => {
      const { sinceMs, ...taken } = count
      Object.assign(count, {
        frames: 0,
        sinceMs: performance.now(),
        longestPauseMs: 0,
        jerks: 0,
        digitChanges: 0,
        readings: 0,
        oldestReadingS: 0,
      })
      return { ...taken, seconds: (performance.now() - sinceMs) / 1000 }
    },
  })
}

/** Counts in the worker every block that its socket brings, by the numbers in the header. */
function countInWorker(): void {
  const received: Received = { samples: 0, blocks: 0, lostBlocks: 0 }
  let last = -1
  const handler = Object.getOwnPropertyDescriptor(WebSocket.prototype, 'onmessage')!
  Object.defineProperty(WebSocket.prototype, 'onmessage', {
    configurable: true,
    get: handler.get,
    set(this: WebSocket, hear: ((event: MessageEvent) => void) | null) {
      handler.set!.call(
        this,
        hear &&
          ((event: MessageEvent) => {
            if (event.data instanceof ArrayBuffer) {
              const view = new DataView(event.data)
              const block = view.getFloat64(24, true)
              received.samples += view.getUint32(12, true)
              received.blocks++
              if (last >= 0 && block > last + 1) received.lostBlocks += block - last - 1
              last = block
            }
            hear.call(this, event)
          }),
      )
    },
  })
  Object.assign(self, { benchReceived: received })
}

/** Part of the address of the worker that owns the stream; the page may have others. */
const workerName = 'pipelineWorker'

function streamWorker(page: Page) {
  return page.workers().find((worker) => worker.url().includes(workerName))
}

/** A DevTools session of the stream's worker, by messages through the page's own. */
async function workerSession(devtools: CDPSession) {
  const waiting = new Map<number, (result: Record<string, number>) => void>()
  let sessionId = ''
  let id = 0
  devtools.on('Target.attachedToTarget', (event) => {
    if (event.targetInfo.url.includes(workerName)) sessionId = event.sessionId
  })
  devtools.on('Target.receivedMessageFromTarget', ({ message }) => {
    const answer = JSON.parse(message) as { id?: number; result?: Record<string, number> }
    if (answer.id !== undefined) waiting.get(answer.id)?.(answer.result ?? {})
  })
  await devtools.send('Target.setAutoAttach', {
    autoAttach: true,
    waitForDebuggerOnStart: false,
    flatten: false,
  })
  await until('the worker can be asked', () => sessionId !== '')
  return (method: string) =>
    new Promise<Record<string, number>>((resolve, reject) => {
      const own = ++id
      const timer = setTimeout(() => reject(new Error(`the worker does not answer ${method}`)), 30_000)
      waiting.set(own, (result) => {
        clearTimeout(timer)
        resolve(result)
      })
      devtools
        .send('Target.sendMessageToTarget', { sessionId, message: JSON.stringify({ id: own, method }) })
        .catch(reject)
    })
}

function residentMb(pid: number | undefined): number {
  const status = readFileSync(`/proc/${pid}/status`, 'utf8')
  return Number(/VmRSS:\s+(\d+)/.exec(status)?.[1]) / 1024
}

async function startServe(data: string): Promise<ChildProcess> {
  const serve = spawn(
    process.execPath,
    [
      '--import',
      'tsx',
      'bridge/main.ts',
      'serve',
      '--sim',
      flags.sim,
      '--listen',
      `127.0.0.1:${port}`,
      '--data',
      data,
      '--record',
    ],
    { cwd: root, stdio: ['ignore', 'pipe', 'inherit'] },
  )
  await new Promise((resolve) => serve.stdout?.once('data', resolve))
  return serve
}

async function bridgeSamples(): Promise<{ samples: number; missingSamples: number }> {
  const status = (await (await fetch(`http://127.0.0.1:${port}/api/status`)).json()) as {
    sources: { counts: { samples: number; missingSamples: number } }[]
  }
  return status.sources[0].counts
}

async function drive(page: Page, devtools: CDPSession, serve: ChildProcess): Promise<void> {
  const askWorker = await workerSession(devtools)
  const worker = streamWorker(page)!
  const heaps = async () => {
    await devtools.send('HeapProfiler.collectGarbage')
    await askWorker('HeapProfiler.collectGarbage')
    const own = await devtools.send('Runtime.getHeapUsage')
    const its = await askWorker('Runtime.getHeapUsage')
    return { pageMb: own.usedSize / 1e6, workerMb: its.usedSize / 1e6 }
  }
  const take = () => page.evaluate(() => (window as unknown as { benchTake(): Stretch }).benchTake())
  const received = () =>
    worker.evaluate(() => ({ ...(self as unknown as { benchReceived: Received }).benchReceived }))
  // What came before the first look belongs to the start, not to the drive.
  await page.waitForTimeout(60_000)
  await take()
  let sent = (await bridgeSamples()).samples
  let got = await received()
  const first = await heaps()
  console.log(
    `after a minute: heap of the page ${first.pageMb.toFixed(2)} MB, of its worker ${first.workerMb.toFixed(2)} MB, bridge ${residentMb(serve.pid).toFixed(0)} MB resident`,
  )
  const begunMs = performance.now()
  const everyMs = Number(flags.every) * 60_000
  const count = Math.round(Number(flags.minutes) / Number(flags.every))
  for (let i = 1; i <= count; i++) {
    await new Promise((resolve) =>
      setTimeout(resolve, Math.max(0, begunMs + i * everyMs - performance.now())),
    )
    const counts = await bridgeSamples()
    const now = await received()
    const stretch = await take()
    const heap = await heaps()
    const own = counts.samples - sent
    const its = now.samples - got.samples
    sent = counts.samples
    got = now
    console.log(
      [
        `${String(Math.round((i * everyMs) / 60_000)).padStart(3)} min`,
        `${(stretch.frames / stretch.seconds).toFixed(1)} frames/s, longest pause ${stretch.longestPauseMs.toFixed(0)} ms, ${stretch.jerks} over 100 ms`,
        `${(stretch.readings / stretch.seconds).toFixed(1)} readings/s, oldest ${stretch.oldestReadingS.toFixed(2)} s, digits ${(stretch.digitChanges / stretch.seconds).toFixed(2)} changes/s`,
        `heap ${heap.pageMb.toFixed(2)} + ${heap.workerMb.toFixed(2)} MB (growth ${(heap.pageMb - first.pageMb).toFixed(2)} + ${(heap.workerMb - first.workerMb).toFixed(2)}), bridge ${residentMb(serve.pid).toFixed(0)} MB`,
        `samples ${own} at the bridge, ${its} at the page, blocks lost ${now.lostBlocks}, told as missed ${stretch.missedSamples}, missing on the wire ${counts.missingSamples}, reconnects ${stretch.reconnects}`,
      ].join(' | '),
    )
  }
}

const data = mkdtempSync(join(tmpdir(), 'floatbowl-bench-'))
const serve = await startServe(data)
const browser = await launch()
try {
  const { page } = await openPage(browser, 'about:blank')
  await page.addInitScript(countInPage)
  await page.goto(`http://127.0.0.1:${port}/`)
  await until('the worker', () => streamWorker(page) !== undefined)
  await streamWorker(page)!.evaluate('globalThis.__name ??= (named) => named')
  await streamWorker(page)!.evaluate(countInWorker)
  await page.evaluate(() => (window as unknown as { benchRelease(): void }).benchRelease())
  await until('a word or a number', async () => (await partText(page, 'state-word')) !== '', 60_000)
  const devtools = await page.context().newCDPSession(page)
  await drive(page, devtools, serve)
} finally {
  await browser.close()
  serve.kill('SIGTERM')
  await new Promise((resolve) => serve.once('exit', resolve))
  rmSync(data, { recursive: true, force: true })
}
