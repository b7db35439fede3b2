import { type ChildProcess, spawn } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, rmSync } from 'node:fs'
import { createServer } from 'node:http'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser } from 'playwright'
import { afterAll, afterEach, beforeAll, describe, expect, onTestFinished, test } from 'vitest'
import { check, launch, openPage, partText, shoot, until } from './support.ts'

const port = 4934
const url = `http://127.0.0.1:${port}/`
const root = new URL('../../', import.meta.url).pathname
let browser: Browser
let data: string
let serve: ChildProcess | undefined

/** The real bridge on the simulator, as a process of its own. */
async function startServe(): Promise<void> {
  const started = spawn(
    process.execPath,
    [
      '--import',
      'tsx',
      'bridge/main.ts',
      'serve',
      '--sim',
      'marigold',
      '--listen',
      `127.0.0.1:${port}`,
      '--data',
      data,
    ],
    { cwd: root, stdio: ['ignore', 'pipe', 'ignore'] },
  )
  serve = started
  await new Promise<void>((resolve, reject) => {
    started.stdout?.once('data', () => resolve())
    started.once('exit', (code) => reject(new Error(`serve ended with ${code}`)))
  })
}

async function endServe(signal: NodeJS.Signals): Promise<void> {
  const ending = serve
  serve = undefined
  if (!ending || ending.exitCode !== null) return
  await new Promise((resolve) => {
    ending.once('exit', resolve)
    ending.kill(signal)
  })
}

beforeAll(async () => {
  browser = await launch()
  data = mkdtempSync(join(tmpdir(), 'floatbowl-served-'))
})
afterEach(async () => {
  for (const context of browser.contexts()) await context.close()
  await endServe('SIGTERM')
})
afterAll(async () => {
  await browser?.close()
  rmSync(data, { recursive: true, force: true })
})

describe('the served page on the simulator', () => {
  test('the number moves, a recording starts, is marked and ends, and a killed bridge is found again', async () => {
    await startServe()
    const { page, complaints } = await openPage(browser, url, { settings: { theme: 'dark' } })
    await until('a number', async () => /^\d/.test(await partText(page, 'number')), 60_000)
    const seen = new Set<string>()
    await until('the number moves', async () => seen.add(await partText(page, 'number')).size >= 3, 60_000)
    if (!(await partText(page, 'recording')).includes(':')) {
      await page.locator('[data-part="record-button"]').click()
      await until('recording', async () => /\d:\d\d/.test(await partText(page, 'recording')))
    }
    await page.locator('[data-part="state"]').click()
    await until('the mark', async () => (await partText(page, 'state-word')).startsWith('MARKED'), 2000)
    await page.waitForTimeout(700)
    expect(await partText(page, 'state-word')).not.toContain('NOT KEPT')
    await shoot(page, 'served-drive')
    await page.locator('[data-part="record-button"]').click()
    await until('not recording', async () => (await partText(page, 'recording')).includes('not recording'))
    const runs = (await (await fetch(`${url}api/runs`)).json()) as { marks: number }[]
    expect(runs[0].marks).toBeGreaterThanOrEqual(1)
    expect(complaints).toEqual([])

    await page.evaluate(() => Object.assign(window, { stillHere: true }))
    await endServe('SIGKILL')
    await until('no data', async () => (await partText(page, 'instead')).includes('NO DATA'), 8000)
    await startServe()
    const begun = performance.now()
    await until(
      'the link is back',
      async () => !(await page.locator('.beside').textContent())?.includes('no link'),
      12_000,
    )
    const backS = (performance.now() - begun) / 1000
    check(
      'S2',
      `the real bridge, killed and started again: link back after ${backS.toFixed(1)} s (≤ 6), no reload: ${await page.evaluate(() => 'stillHere' in window)}`,
      backS <= 6 && (await page.evaluate(() => 'stillHere' in window)),
    )
  })

  test('a page that was opened once starts without the bridge', async () => {
    await startServe()
    const { page } = await openPage(browser, url)
    await page.evaluate(async () => {
      await navigator.serviceWorker.ready
    })
    await until('the files are kept', async () =>
      page.evaluate(async () => {
        for (const name of await caches.keys())
          if ((await (await caches.open(name)).keys()).length > 5) return true
        return false
      }),
    )
    await endServe('SIGKILL')
    await page.reload()
    await until('the page', async () => (await partText(page, 'instead')) !== '', 10_000)
    const words = `${await partText(page, 'instead')}, ${((await page.locator('.beside').textContent()) ?? '').trim()}`
    check('OFF', `started offline from its own store: "${words.replace(/\s+/g, ' ')}"`, true)

    // A network that takes what is asked and never answers, as far from the garage's.
    const mute = createServer(() => {}).listen(port, '127.0.0.1')
    onTestFinished(() => {
      mute.close()
      mute.closeAllConnections()
    })
    await once(mute, 'listening')
    await page.evaluate(() => Object.assign(window, { isOld: true }))
    const asked = performance.now()
    await page.reload({ waitUntil: 'commit' })
    await until('the page again', async () => {
      const isOld = await page.evaluate(() => 'isOld' in window)
      return !isOld && (await partText(page, 'instead')) !== ''
    })
    const startedS = (performance.now() - asked) / 1000
    check('OFF', `nobody answers: started from its own store after ${startedS.toFixed(1)} s`, true)
  })
})
