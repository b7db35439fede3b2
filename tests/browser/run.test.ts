import { readFileSync } from 'node:fs'
import type { Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import type { CarProfile } from '../../core/contract/car.ts'
import { runRoute } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import type { OpenOptions } from './support.ts'
import { check, partText, shoot, until } from './support.ts'

const pages = servePages()
let id = ''

beforeAll(async () => {
  // An earlier run, which the page has not opened: without a list of parts the bridge would refuse to advise on both.
  pages.bridge.addRun({
    car: 'marigold',
    setup: 'rich_main',
    drive: 'traffic',
    seconds: 60,
    seed: 2,
    at: '2025-06-13T09:12:00Z',
  })
  id = pages.bridge.addRun({
    car: 'marigold',
    setup: 'rich_main',
    drive: 'traffic',
    seconds: 240,
    seed: 3,
    at: '2025-06-14T09:12:00Z',
  })
})

async function openRun(options: OpenOptions = {}) {
  const opened = await pages.open(runRoute(id), options)
  await opened.page.waitForSelector('[data-part="scrubber"]', { timeout: 60_000 })
  await until(
    'a next change, or why there is none',
    async () =>
      /→|Drive first|Change nothing|No part|of about/.test((await partText(opened.page, 'next-card')) ?? ''),
    60_000,
  )
  return opened
}

describe('run page', () => {
  let page: Page
  let complaints: string[]
  let close: () => Promise<void>
  beforeAll(async () => {
    ;({ page, complaints, close } = await openRun())
  })
  afterAll(() => close())

  test('answers first: headline, a gate for each circuit with its proof', async () => {
    expect(await partText(page, 'headline')).toMatch(/circuit|driven|driving/)
    expect(await partText(page, 'car')).toBe('Marigold')
    const circuits = page.locator('[data-circuit]')
    expect(await circuits.count()).toBeGreaterThanOrEqual(4)
    const main = page.locator('[data-circuit="main"]')
    expect(await main.getAttribute('data-verdict')).toBe('rich')
    expect(await main.textContent()).toMatch(/rich 0\.\d\d.*± 0\.\d\d\d.*(s|min)/s)
    expect(await main.locator('svg[role="img"]').getAttribute('aria-label')).toMatch(/Main: rich/)
    await shoot(page, 'run')
  })

  test('tells how whole the recording is, what it covered and how often it alarmed', async () => {
    expect(await partText(page, 'integrity')).toMatch(/samples/)
    const text = (await page.locator('main').textContent()) ?? ''
    expect(text).toContain('What the drive covered')
    expect(text).toMatch(/warm idle\s+\d+(\sof\s60)?\ss/)
  })

  test('the delay that the run taught goes into the car’s profile, at first by itself and later by one tap', async () => {
    const told = /([\d.]+) s at idle, ([\d.]+) s at full throttle/.exec(
      (await page.locator('main').textContent()) ?? '',
    )
    const keptDelay = async () => {
      const cars = (await (await fetch(`${pages.bridge.url}/api/cars`)).json()) as CarProfile[]
      return cars.find(({ id: carId }) => carId === 'marigold')!.delay
    }
    await page.locator('[data-part="delay-kept"]').waitFor()
    const delay = await keptDelay()
    // Told for 800 rpm at 35 kPa and for 3000 rpm at 95 kPa.
    const at = (flow: number) => delay!.a_s + delay!.b_s_rpm_kPa / flow
    expect(at(800 * 35)).toBeCloseTo(Number(told?.[1]), 1)
    expect(at(3000 * 95)).toBeCloseTo(Number(told?.[2]), 1)
    expect(delay?.events_used).toBeGreaterThanOrEqual(20)

    // Another law is in the profile now, from a longer drive say: nothing overwrites that but the owner.
    const earlier = { a_s: 0.2, b_s_rpm_kPa: 3000, events_used: 90 }
    await fetch(`${pages.bridge.url}/api/cars/marigold`, {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ id: 'marigold', name: 'Marigold', delay: earlier }),
    })
    await page.locator('[data-part="keep-delay"]').waitFor()
    expect(await keptDelay()).toEqual(earlier)
    await page.locator('[data-part="keep-delay"]').click()
    await page.locator('[data-part="delay-kept"]').waitFor()
    expect(await keptDelay()).toEqual(delay)
  })

  test('a tapped cell marks the moments behind it and leads to them', async () => {
    const cell = page.locator('.map td.heavy button').first()
    await cell.click()
    expect(await cell.getAttribute('aria-pressed')).toBe('true')
    const behind = page.locator('[data-part="behind"]')
    await behind.waitFor()
    expect(await behind.textContent()).toMatch(/stretch/)
    await behind.locator('button').first().click()
    await until(
      'the cursor moved',
      async () => Number(await page.locator('[data-part="scrubber"]').getAttribute('aria-valuenow')) > 0,
    )
    expect(await page.locator('main').textContent()).toMatch(/of the chosen cell (is|are)\s+marked/)
  })

  test('each chart has a name, a finding and a table', async () => {
    const figures = page.locator('main figure')
    const count = await figures.count()
    expect(count).toBeGreaterThanOrEqual(5)
    let most = 0
    for (let i = 0; i < count; i++) {
      const figure = figures.nth(i)
      const [name, finding] = await figure.evaluate((node) => [
        document.getElementById(node.getAttribute('aria-labelledby') ?? '')?.textContent?.trim() ?? '',
        document.getElementById(node.getAttribute('aria-describedby') ?? '')?.textContent?.trim() ?? '',
      ])
      expect(name, `chart ${i}`).not.toBe('')
      expect(finding, name).toMatch(/\.$/)
      await figure.locator('summary', { hasText: 'Table' }).click()
      const rows = figure.locator('tbody tr')
      await rows.first().waitFor()
      const rowCount = await rows.count()
      expect(rowCount, name).toBeLessThanOrEqual(240)
      most = Math.max(most, rowCount)
      await figure.locator('summary', { hasText: 'Table' }).click()
    }
    check(
      'X1',
      `run: ${count} charts with name, finding and table, at most ${most} rows with the summary's (≤ 240)`,
      most <= 240,
    )
  })

  test('nothing was complained about', () => {
    expect(complaints).toEqual([])
  })
})

describe('run page on paper, in files and of other runs', () => {
  test('prints with a head that names car, day, parts and air, in light colours', async () => {
    const { page, close } = await openRun({ settings: { theme: 'dark' } })
    await page.emulateMedia({ media: 'print' })
    expect(await page.locator('.print-head').isVisible()).toBe(true)
    expect(await page.locator('.print-head').textContent()).toMatch(/Marigold.*2025.*main jet 77.*kPa/s)
    expect(await page.locator('nav').isVisible()).toBe(false)
    expect(await page.locator('[data-part="replay"]').isVisible()).toBe(false)
    expect(await page.evaluate(() => getComputedStyle(document.documentElement).backgroundColor)).toBe(
      'rgb(255, 255, 255)',
    )
    const facts = await page.evaluate(() => {
      const isShown = (node: Element) => node.getBoundingClientRect().height > 0
      const all = (selector: string) => [...document.querySelectorAll(selector)].filter(isShown)
      return {
        figures: all('main figure').length,
        // Lines and words, as fine as the printer.
        drawings: all('main figure .printed svg path').length,
        pictures: all('main figure .printed svg').length,
        canvases: all('main figure canvas').length,
        cut: all('main figure, main tr').filter((node) => getComputedStyle(node).breakInside !== 'avoid')
          .length,
        heads: all('main thead').filter((head) => getComputedStyle(head).display !== 'table-header-group')
          .length,
      }
    })
    for (const format of ['A4', 'Letter'] as const) {
      const pages = (await page.pdf({ format })).toString('latin1').match(/\/Type\s*\/Page[^s]/g)?.length ?? 0
      check(
        'P1',
        `${format}: ${pages} pages, ${facts.pictures} of ${facts.figures} charts as lines and words (no pixels), ${facts.cut} figures or rows may be cut, ${facts.heads} heads do not repeat`,
        pages > 0 &&
          facts.figures >= 5 &&
          facts.pictures === facts.figures &&
          facts.drawings > facts.pictures &&
          facts.canvases === 0 &&
          facts.cut === 0 &&
          facts.heads === 0,
      )
    }
    await close()
  })

  test('the exported table carries units, decimal points and whole times, under a name that any disk takes', async () => {
    const { page, close } = await openRun()
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      page.getByRole('link', { name: 'Export as CSV' }).click(),
    ])
    const text = readFileSync(await download.path(), 'utf8')
    const [head, first] = text.split('\r\n')
    const name = download.suggestedFilename()
    const times = text.split('\r\n').filter(Boolean).length - 1
    check(
      'D1',
      `${name}: ${times} rows, head "${head.slice(0, 60)}…", first "${first.slice(0, 40)}…"`,
      !name.includes(':') &&
        /\.csv$/.test(name) &&
        !text.startsWith('\uFEFF') &&
        head.split(',').some((column) => /\[.+\]|_kPa|_rpm|_s\b|\(.+\)/.test(column)) &&
        /\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d/.test(first) &&
        /\d\.\d/.test(first),
    )
    await close()
  })

  test('like pulls are told with their spread, and drawn with it as a band', async () => {
    const pulls = pages.bridge.addRun({ car: 'juniper', drive: 'good', seed: 4, at: '2025-06-15T09:12:00Z' })
    const { page, close } = await pages.open(runRoute(pulls))
    const figure = page.locator('figure', { hasText: 'Power at the wheels' })
    await figure.getByText(/like pulls: peak [\d.]+ ± [\d.]*[1-9] kW/).waitFor({ timeout: 60_000 })
    await figure.locator('summary', { hasText: 'Picture' }).click()
    const [download] = await Promise.all([
      page.waitForEvent('download'),
      figure.getByRole('button', { name: /^SVG/ }).click(),
    ])
    // Ground and lines: the band is the one closed path.
    expect(readFileSync(await download.path(), 'utf8').match(/<path d="M[^"]+Z"/g)).toHaveLength(1)
    await close()
  })

  test('a board of the mixture alone is told what to connect, never to drive more or to change a part', async () => {
    const blind = pages.bridge.addRun({
      car: 'pebble',
      drive: 'traffic',
      seconds: 60,
      seed: 5,
      channels: 'lambda_only',
      at: '2025-06-16T09:12:00Z',
    })
    const { page, close } = await pages.open(runRoute(blind))
    await page.waitForSelector('[data-part="alone"]', { timeout: 60_000 })
    expect(await partText(page, 'headline')).toBe(
      'The board sends no engine speed: circuits cannot be told apart',
    )
    expect(await partText(page, 'car')).toMatch(/pebble/i)
    expect(await partText(page, 'alone')).toMatch(/^λ \d\.\d\d$/)
    expect(await partText(page, 'next-card')).toContain('Connect engine speed')
    expect(await page.locator('[data-circuit]').count()).toBe(0)
    const text = (await page.locator('main').textContent()) ?? ''
    expect(text).toMatch(/warm idle\s+– needs engine speed/)
    expect(text).not.toMatch(/more tip-ins|s more/)
    await page.locator('[data-part="next-card"] a').click()
    await page.waitForURL(/#\/link/)
    await close()
  })

  test('a run that is not there says so and leads back', async () => {
    const { page, close } = await pages.open('#/run/marigold/2020-01-01/20200101T000000Z.capture')
    await page.waitForSelector('[data-state="error"]')
    expect(await page.locator('[data-state="error"]').textContent()).toContain('There is no such run')
    await page.locator('[data-state="error"] button').click()
    await page.waitForSelector('[data-part="runs"]')
    await close()
  })
})
