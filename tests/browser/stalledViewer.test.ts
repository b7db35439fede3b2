import { join } from 'node:path'
import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, describe, test } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import type { SampleBlock } from '../../core/contract/samples.ts'
import {
  boardSetup,
  createHandSource,
  type RunningBridge,
  readCapture,
  startBridge,
  TestPage,
} from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'
import { check, launch, openPage, until } from './support.ts'

/** Samples of the board, a second. */
const rateHz = 100
/** Length of each of the stretches that are compared, s. */
const stretchS = 6

let browser: Browser
let running: RunningBridge
const source = createHandSource()
const board = createTestBoard({ rateHz })
const clock = createClock()
/** The bridge's zero on the wall clock that page and bridge share, ms. */
const zeroMs = performance.timeOrigin + performance.now() - clock.nowS() * 1000
let feeding: NodeJS.Timeout
let fed = 0

beforeAll(async () => {
  browser = await launch()
  running = await startBridge({
    clock,
    sources: [boardSetup(source)],
    server: { webDir: process.env.FLOATBOWL_WEB_DIR },
  })
  source.feed(board.greeting())
  await running.bridge.startRecording(false)
  const beganS = clock.nowS()
  feeding = setInterval(() => {
    const due = Math.floor((clock.nowS() - beganS) * rateHz) - fed
    if (due <= 0) return
    source.feed(board.samples(due))
    fed += due
  }, 10)
})
afterAll(async () => {
  clearInterval(feeding)
  await browser?.close()
  await running?.stop()
})

/** Blocks of a second source, each a thousand samples of sixteen channels: what fills the buffers of a page that does not read. */
function wideBlock(round: number): SampleBlock {
  const channels = Array.from({ length: 16 }, (_, index) => ({
    index,
    name: `input_${index + 1}`,
    unit: 'V',
    scale: 1,
    offset: 0,
  }))
  return {
    source: 1,
    segment: 0,
    channels,
    count: 1000,
    timeS: Float64Array.from({ length: 1000 }, (_, i) => round + i / 1000),
    columns: channels.map(() => new Float32Array(1000)),
  }
}

/** Notes the age of each reading as the page gets it: from the sample at the bridge to the page's own thread. */
function noteDelays(zero: number): void {
  const delaysMs: number[] = []
  const Real = Worker
  Object.assign(window, {
    delaysMs,
    Worker: class extends Real {
      constructor(url: string | URL, options?: WorkerOptions) {
        super(url, options)
        this.addEventListener('message', ({ data }) => {
          if (data.type === 'live' && data.ageS < 0.2)
            delaysMs.push(performance.timeOrigin + performance.now() - zero - data.reading.timeS * 1000)
        })
      }
    },
  })
}

async function delayP95Ms(page: Page): Promise<number> {
  await page.evaluate(() => {
    ;(window as unknown as { delaysMs: number[] }).delaysMs.length = 0
  })
  await page.waitForTimeout(stretchS * 1000)
  const delays = await page.evaluate(() => [...(window as unknown as { delaysMs: number[] }).delaysMs])
  delays.sort((a, b) => a - b)
  return delays[Math.floor(0.95 * delays.length)]
}

describe('a viewer that does not read', () => {
  test('delays no other page, loses no sample of the run, and lets no memory grow', async () => {
    const { page, close } = await openPage(browser, 'about:blank')
    await page.addInitScript(noteDelays, zeroMs)
    await page.goto(`http://127.0.0.1:${running.port}/`)
    await until('readings come', async () =>
      page.evaluate(() => (window as unknown as { delaysMs: number[] }).delaysMs.length > 30),
    )
    const before = await delayP95Ms(page)

    const stalled = new TestPage(running.port)
    await until('it is in', () => stalled.sampleCount > 0)
    stalled.socket.pause()
    // Far more than the kernel's buffers and the queue together hold: 11 MB.
    for (let round = 0; round < 150; round++) {
      running.bridge.stream.push(wideBlock(round))
      if (round % 10 === 9) await page.waitForTimeout(20)
    }
    await page.waitForTimeout(2000)
    const startMb = process.memoryUsage().rss / 1e6
    const during = await delayP95Ms(page)
    const growthMb = process.memoryUsage().rss / 1e6 - startMb
    const isStalled = stalled.socket.isPaused
    stalled.close()
    // The page has more to keep since the second source: what it costs without the stalled viewer is measured again.
    const after = await delayP95Ms(page)

    clearInterval(feeding)
    const { run } = await running.bridge.recorder.stop('test over')
    const kept = (await readCapture(join(running.dataDir, String(run)))).match(/ <0 S,/g)?.length ?? 0
    check(
      'S5',
      `another page's delay p95 ${before.toFixed(0)} ms before, ${during.toFixed(0)} ms with, ${after.toFixed(0)} ms after the stalled viewer; run kept ${kept} of ${fed} samples; bridge ${growthMb >= 0 ? '+' : ''}${growthMb.toFixed(1)} MB in ${stretchS} s`,
      isStalled && during <= 1.5 * Math.max(before, after) + 20 && kept === fed && growthMb < 30,
    )
    await close()
  })
})
