/*
 * What the page costs and how late it is, in real Chromium without a GPU:
 *   frames and scripting per frame on Drive and Trace, also at device pixel ratio 2 and with the CPU slowed four times;
 *   heap over a stretch of streaming; latency from the board's wire (a pseudo-terminal) to the frame that shows it.
 * Usage: npx tsx tests/bench/browser.ts [--seconds N] [--heap-seconds N] [--latency-steps N]
 */
import { type ChildProcess, spawn } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { parseArgs } from 'node:util'
import type { Browser, CDPSession, Page } from 'playwright'
import { encodeLine } from '../../core/line/encodeLine.ts'
import { FakeBridge, type Scene } from '../browser/fakeBridge.ts'
import { launch, openPage, partText, until } from '../browser/support.ts'
import { openPty, type Pty } from '../support/pty.ts'

const port = 4932
const root = new URL('../../', import.meta.url).pathname

const { values: flags } = parseArgs({
  options: {
    seconds: { type: 'string', default: '10' },
    'heap-seconds': { type: 'string', default: '60' },
    'latency-steps': { type: 'string', default: '200' },
  },
})

const wave = (timeS: number, scene: Scene): Scene => ({
  ...scene,
  lambda: scene.lambda + 0.06 * Math.sin(timeS * 3) + 0.01 * Math.sin(timeS * 41),
  engine_speed: scene.engine_speed + 150 * Math.sin(timeS),
  manifold_pressure: scene.manifold_pressure + 6 * Math.sin(timeS * 2),
})

const quantile = (sorted: readonly number[], share: number) =>
  sorted[Math.min(sorted.length - 1, Math.floor(share * sorted.length))]

/** Frames a second, and the main thread's time in script for each frame: median over one-second slices. */
async function measureFrames(page: Page, devtools: CDPSession, seconds: number) {
  const slices: { frames: number; scriptMs: number }[] = []
  for (let i = 0; i < seconds; i++) {
    const before = await scriptSeconds(devtools)
    const frames = await page.evaluate(
      () =>
        new Promise<number>((resolve) => {
          let count = 0
          const begun = performance.now()
          const frame = () => {
            count++
            if (performance.now() - begun < 1000) requestAnimationFrame(frame)
            else resolve(count / ((performance.now() - begun) / 1000))
          }
          requestAnimationFrame(frame)
        }),
    )
    slices.push({ frames, scriptMs: (1000 * ((await scriptSeconds(devtools)) - before)) / frames })
  }
  const frames = slices.map((slice) => slice.frames).sort((a, b) => a - b)
  const script = slices.map((slice) => slice.scriptMs).sort((a, b) => a - b)
  return { frames: quantile(frames, 0.5), leastFrames: frames[0], scriptMs: quantile(script, 0.5) }
}

async function scriptSeconds(devtools: CDPSession): Promise<number> {
  const { metrics } = await devtools.send('Performance.getMetrics')
  return metrics.find(({ name }) => name === 'ScriptDuration')?.value ?? Number.NaN
}

async function frames(browser: Browser): Promise<void> {
  const bridge = await new FakeBridge({ port, rateHz: 100, wave }).start()
  try {
    for (const [path, ratio, slow] of [
      ['drive', 1, 1],
      ['drive', 2, 1],
      ['drive', 2, 4],
      ['trace', 1, 1],
      ['trace', 2, 1],
      ['trace', 2, 4],
    ] as const) {
      const { page, close } = await openPage(browser, `${bridge.url}/#/${path}`, { deviceScaleFactor: ratio })
      const devtools = await page.context().newCDPSession(page)
      await devtools.send('Performance.enable')
      await devtools.send('Emulation.setCPUThrottlingRate', { rate: slow })
      await page.waitForTimeout(2500)
      const measured = await measureFrames(page, devtools, Number(flags.seconds))
      console.log(
        `${path.padEnd(6)} pixel ratio ${ratio}, CPU ÷${slow}: ${measured.frames.toFixed(0)} frames/s (least ${measured.leastFrames.toFixed(0)}), script ${measured.scriptMs.toFixed(2)} ms a frame`,
      )
      await close()
    }
  } finally {
    await bridge.stop()
  }
}

async function heap(browser: Browser): Promise<void> {
  const bridge = await new FakeBridge({ port, rateHz: 100, wave }).start()
  try {
    const { page, close } = await openPage(browser, bridge.url)
    const devtools = await page.context().newCDPSession(page)
    const used = async () => {
      await devtools.send('HeapProfiler.collectGarbage')
      return (await devtools.send('Runtime.getHeapUsage')).usedSize / 1e6
    }
    await page.waitForTimeout(10_000)
    const before = await used()
    await page.waitForTimeout(Number(flags['heap-seconds']) * 1000)
    const after = await used()
    console.log(
      `heap of the page: ${before.toFixed(1)} MB, ${flags['heap-seconds']} s later ${after.toFixed(1)} MB (growth ${(after - before).toFixed(2)} MB)`,
    )
    await close()
  } finally {
    await bridge.stop()
  }
}

const channels = [
  ['lambda', '1', 0.001],
  ['engine_speed', 'rpm', 1],
  ['throttle', '%', 0.1],
  ['manifold_pressure', 'kPa', 0.1],
  ['barometer', 'kPa', 0.1],
  ['coolant', 'C', 0.1],
] as const

/** A board on a pseudo-terminal at 100 Hz whose λ jumps on demand. */
function startBoard(pty: Pty) {
  let lambda = 1.02
  let seq = 0
  let nextMs = performance.now()
  let onSent: (() => void) | undefined
  const begunMs = nextMs
  const timer = setInterval(() => {
    let text = ''
    while (nextMs <= performance.now()) {
      nextMs += 10
      if (seq % 25 === 0) {
        const index = (seq / 25) % (channels.length + 1)
        const [name, unit, scale] = channels[index - 1] ?? ['', '', 1]
        text +=
          index === 0
            ? `${encodeLine({ kind: 'identity', version: 1, boardName: 'bench', firmware: '1', uniqueId: '1', ticksPerSecond: 1000 })}\n`
            : `${encodeLine({ kind: 'channel', index: index - 1, name, unit, scale, offset: 0 })}\n`
      }
      const idle = seq < 800
      const values = idle
        ? [950, 800, 10, 380, 1010, 880]
        : [Math.round(lambda * 1000), 2140, 180, 500, 1010, 880]
      text += `${encodeLine({ kind: 'sample', seq: seq & 0xffff, tick: Math.round(nextMs - begunMs), values })}\n`
      seq++
    }
    if (text === '') return
    pty.master.write(text)
    onSent?.()
    onSent = undefined
  }, 5)
  return {
    set(next: number, sent: () => void) {
      lambda = next
      onSent = sent
    },
    stop: () => clearInterval(timer),
  }
}

async function latency(browser: Browser): Promise<void> {
  const pty = openPty()
  const data = mkdtempSync(join(tmpdir(), 'floatbowl-bench-'))
  const serve: ChildProcess = spawn(
    process.execPath,
    [
      '--import',
      'tsx',
      'bridge/main.ts',
      'serve',
      '--port',
      pty.path,
      '--listen',
      `127.0.0.1:${port}`,
      '--data',
      data,
      '--no-auto-record',
    ],
    { cwd: root, stdio: ['ignore', 'pipe', 'inherit'] },
  )
  try {
    await new Promise((resolve) => serve.stdout?.once('data', resolve))
    await new Promise((resolve) => setTimeout(resolve, 500))
    const board = startBoard(pty)
    const { page } = await openPage(browser, `http://127.0.0.1:${port}/`)
    await until('cruise', async () => (await partText(page, 'state-word')) === 'cruise', 30_000)
    await page.waitForTimeout(2000)
    await page.evaluate(() => {
      // Side, when the frame that shows it was painted, and when the next one began: by then it is on the screen.
      const seen: [string, number, number][] = []
      Object.assign(window, { seen })
      const nowMs = () => performance.timeOrigin + performance.now()
      new MutationObserver(() => {
        const side = document.querySelector('svg[data-side]')?.getAttribute('data-side') ?? ''
        if (side === seen.at(-1)?.[0]) return
        const entry: [string, number, number] = [side, Number.NaN, Number.NaN]
        seen.push(entry)
        // The page changes in a frame's own callbacks, so the first task after them finds that frame laid out and painted.
        const channel = new MessageChannel()
        channel.port1.onmessage = () => {
          entry[1] = nowMs()
        }
        channel.port2.postMessage(0)
        requestAnimationFrame(() => {
          entry[2] = nowMs()
        })
      }).observe(document.querySelector('svg[data-side]')!, {
        attributes: true,
        attributeFilter: ['data-side'],
      })
    })
    const paintedMs: number[] = []
    const shownMs: number[] = []
    let isLean = false
    for (let i = 0; i < Number(flags['latency-steps']); i++) {
      isLean = !isLean
      const sentMs = await new Promise<number>((resolve) =>
        board.set(isLean ? 1.12 : 0.92, () => resolve(performance.timeOrigin + performance.now())),
      )
      await page.waitForTimeout(150 + ((i * 37) % 100))
      const last = await page.evaluate(() =>
        (window as unknown as { seen: [string, number, number][] }).seen.at(-1),
      )
      if (!last || last[0] !== (isLean ? 'lean' : 'rich') || !(last[1] >= sentMs)) continue
      paintedMs.push(last[1] - sentMs)
      shownMs.push(last[2] - sentMs)
    }
    for (const list of [paintedMs, shownMs]) list.sort((a, b) => a - b)
    const figures = (list: readonly number[]) =>
      [0.5, 0.95, 0.99].map((share) => quantile(list, share).toFixed(1)).join(' / ')
    console.log(
      `wire to pixel at 100 Hz, p50 / p95 / p99: painted ${figures(paintedMs)} ms (p99 ≤ 50), the next frame begun ${figures(shownMs)} ms; ${paintedMs.length} of ${flags['latency-steps']} steps seen`,
    )
    board.stop()
  } finally {
    serve.kill('SIGTERM')
    pty.hangUp()
    rmSync(data, { recursive: true, force: true })
  }
}

const browser = await launch()
try {
  if (Number(flags.seconds) > 0) await frames(browser)
  if (Number(flags['heap-seconds']) > 0) await heap(browser)
  await latency(browser)
} finally {
  await browser.close()
}
