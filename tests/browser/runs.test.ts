import { gzipSync } from 'node:zlib'
import { describe, expect, test } from 'vitest'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import { type MadeRun, runBytes, startBridge } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { openPage, partText, shoot, until } from './support.ts'

const before: MadeRun = {
  car: 'marigold',
  setup: 'rich_main',
  drive: 'traffic',
  seconds: 150,
  seed: 3,
  at: '2025-06-14T09:12:00Z',
}
const after: MadeRun = { ...before, setup: 'right', seed: 4, at: '2025-06-15T10:00:00Z' }
const other: MadeRun = { ...before, car: 'pebble', setup: 'right', seconds: 90, at: '2025-06-16T10:00:00Z' }

const pages = servePages()

/** Hands files to the page as a drop would: `DataTransfer` with the bytes. */
async function drop(
  page: Awaited<ReturnType<typeof openPage>>['page'],
  name: string,
  bytes: Uint8Array,
): Promise<void> {
  const transfer = await page.evaluateHandle(
    ({ name: fileName, base64 }) => {
      const data = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0))
      const made = new DataTransfer()
      made.items.add(new File([data], fileName))
      return made
    },
    { name, base64: Buffer.from(bytes).toString('base64') },
  )
  await page.dispatchEvent('body', 'dragenter', { dataTransfer: transfer })
  await page.dispatchEvent('body', 'drop', { dataTransfer: transfer })
}

describe('runs page', () => {
  test('an empty data directory says what will be here and gives one button', async () => {
    const { page, close } = await pages.open('#/runs')
    await page.waitForSelector('[data-state="empty"]')
    expect(await page.locator('[data-state="empty"]').textContent()).toContain('No runs yet')
    expect(await page.locator('[data-state="empty"] button').count()).toBe(1)
    await close()
  })

  test('lists runs with day, car, length, parts and air, and filters by car and by part', async () => {
    pages.bridge.addRun(before)
    pages.bridge.addRun(after)
    pages.bridge.addRun(other)
    const { page, complaints, close } = await pages.open('#/runs')
    const rows = page.locator('[data-part="runs"] > li')
    await rows.first().waitFor()
    expect(await rows.count()).toBe(3)
    expect(await rows.first().textContent()).toContain('pebble')
    expect(await rows.last().textContent()).toMatch(/14.*marigold.*3.min.*main jet 77.*kPa/s)
    // What was changed since the run before is what the log is read for.
    expect(await rows.nth(1).locator('.fitted').textContent()).toMatch(/^\s*main jet 77 → 71\s*$/)
    await page.getByLabel('Car').selectOption('marigold')
    expect(await rows.count()).toBe(2)
    const choices = await page.getByLabel('Fitted').locator('option').allTextContents()
    expect(choices).toContain('idle mixture screws 1.50 turns')
    await page.getByLabel('Fitted').selectOption('main_jet=77')
    expect(await rows.count()).toBe(1)
    await shoot(page, 'runs')
    expect(complaints).toEqual([])
    await close()
  })

  test('two chosen runs open the comparison, older first', async () => {
    const { page, close } = await pages.open('#/runs')
    await page.getByLabel('Car').selectOption('marigold')
    const boxes = page.locator('[data-part="runs"] input[type="checkbox"]')
    await boxes.nth(0).check()
    expect(await page.getByRole('button', { name: 'Compare' }).isDisabled()).toBe(true)
    await boxes.nth(1).check()
    await page.getByRole('button', { name: 'Compare' }).click()
    await page.waitForSelector('[data-part="text"]', { timeout: 60_000 })
    expect(page.url()).toMatch(/a=marigold%2F2025-06-14.*b=marigold%2F2025-06-15/)
    // Back in the list all is as it was left.
    await page.goBack()
    await boxes.first().waitFor()
    expect(await page.getByLabel('Car').inputValue()).toBe('marigold')
    expect(await page.getByRole('status').first().textContent()).toContain('2 chosen')
    await close()
  })

  test('a dropped run of another board is read with the map it carries, its receiver too', async () => {
    const map = {
      format: 'floatbowl-map 1',
      lines: { by: 'divider', divider: ';' },
      channels: [
        { field: 1, channel: 'lambda', unit: '1' },
        { field: 2, channel: 'engine_speed', unit: 'rpm' },
        { field: 3, channel: 'oil_temperature', unit: 'C' },
      ],
    }
    const start = {
      type: 'start',
      at: '2026-05-17T08:12:03.000Z',
      sources: [
        { source: 0, kind: 'mapped', map },
        { source: 1, kind: 'nmea' },
      ],
    }
    // 12.26 kn, from the NOAA log of 14 Jan 2020 (downloads.psl.noaa.gov, ATOMIC 2020) at another second.
    const sentence = (second: number) => {
      const body = `GPRMC,1959${String(second % 60).padStart(2, '0')}.00,A,1541.31258893,N,05130.51204125,W,12.26,147.44,140120,16.9,W,D`
      let sum = 0
      for (const character of body) sum ^= character.charCodeAt(0)
      return `$${body}*${sum.toString(16).toUpperCase().padStart(2, '0')}`
    }
    let text = `${captureHeader}\n${formatCaptureLine(0, '=', start)}`
    for (let i = 0; i < 50 * 50; i++) {
      if (i % 50 === 0) text += formatCaptureLine(i / 50, '<1', sentence(i / 50))
      text += formatCaptureLine(i / 50, '<0', `0.9${i % 10};${2000 + (i % 20)};90`)
    }
    const { page, complaints, close } = await pages.open('#/runs')
    await page.getByRole('heading', { name: 'Runs' }).waitFor()
    await drop(page, 'mapped.capture', new TextEncoder().encode(text))
    const whole = page.locator('#whole-run')
    await whole.waitFor({ timeout: 30_000 })
    const said = async () => (await page.locator('main').textContent()) ?? ''
    await until(
      'the channels of both are there',
      async () => /oil temperature/.test(await said()) && /road speed/.test(await said()),
    )
    expect(await said()).not.toMatch(/unreadable/)
    await shoot(page, 'run-mapped')
    expect(complaints).toEqual([])
    await close()
  })

  test('a dropped file opens while the bridge is gone, packed or not', async () => {
    const own = await startBridge()
    const { page, close } = await openPage(pages.browser, `${own.url}/#/runs`)
    await page.waitForSelector('[data-state="empty"]')
    await page.waitForFunction(() =>
      performance.getEntriesByType('resource').some(({ name }) => name.includes('runWorker')),
    )
    await own.close()
    for (const [name, bytes] of [
      ['bench.capture', runBytes(before)],
      ['bench.capture.gz', gzipSync(runBytes(before))],
    ] as const) {
      await drop(page, name, bytes)
      await page.waitForSelector('[data-part="headline"]', { timeout: 60_000 })
      expect(await partText(page, 'integrity')).toMatch(/whole/)
      await page.evaluate(() => {
        location.hash = '#/runs'
      })
      await page.getByText(name, { exact: true }).waitFor()
    }
    await close()
  })

  test('a file that is none says so, and a broken one is opened up to the break', async () => {
    const { page, close } = await pages.open('#/runs')
    await page.waitForSelector('input[type="file"]')
    await drop(page, 'letter.capture', new TextEncoder().encode('Dear owner,\nthe car ran well.\n'))
    await page.waitForSelector('[data-state="error"]')
    const said = (await page.locator('[data-state="error"]').textContent()) ?? ''
    expect(said).toContain('This is no run')
    // It was dropped just now: that is no way out.
    expect(said).not.toContain('drop it on this page')
    const packed = gzipSync(runBytes(before))
    await drop(page, 'cut.capture.gz', packed.subarray(0, Math.round(packed.length * 0.7)))
    await page.waitForSelector('[data-part="headline"]', { timeout: 60_000 })
    expect(await partText(page, 'integrity')).toContain('breaks off')
    await close()
  })

  test('a run appears in the list once it was recorded', async () => {
    const live = await startBridge({ sim: 'pebble' })
    const { page, close } = await openPage(pages.browser, `${live.url}/#/runs`)
    await page.waitForSelector('[data-state="empty"]')
    const record = (on: boolean) =>
      fetch(`${live.url}/api/recording`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({ on }),
      })
    await record(true)
    const rows = page.locator('[data-part="runs"] > li')
    await until('the run under way is listed', async () => (await rows.count()) === 1)
    expect(await rows.first().textContent()).toContain('recording')
    await new Promise((resolve) => setTimeout(resolve, 2500))
    await record(false)
    await until(
      'the finished run is listed',
      async () => !(await rows.first().textContent())?.includes('recording'),
    )
    await rows.first().locator('a').click()
    await page.waitForSelector('[data-part="headline"]', { timeout: 30_000 })
    await close()
    await live.close()
  })
})
