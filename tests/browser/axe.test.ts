import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type BridgeFixture, runRoute, startBridge } from './bridgeFixture.ts'
import { overflow, smallControls } from './deskChecks.ts'
import { check, launch, openPage } from './support.ts'

const axeSource = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')

interface AxeWindow {
  axe: {
    run(): Promise<{
      violations: { id: string; nodes: { target: string[]; any: { message: string }[] }[] }[]
    }>
  }
}

/** Every page of the dashboard; `run` is that of a recorded run. */
const paths = [
  'drive',
  'check',
  'trace',
  'runs',
  'run',
  'compare',
  'fitted',
  'next',
  'tank',
  'setup',
  'link',
  'connect',
  'bench',
  'help',
] as const
const deskPaths = paths.filter((path) => path !== 'drive')
/** Pages that answer to `?state=…`. */
const states = ['empty', 'loading', 'error', 'offline'] as const
const themes = ['day', 'dark', 'night'] as const
/** UX list, F5: desk sizes, and the width at which a page reflows. */
const sizes = [
  [1280, 800],
  [1180, 820],
  [1080, 810],
  [960, 600],
  [800, 1280],
  [320, 640],
] as const

let browser: Browser
let fixture: BridgeFixture
let routes: Readonly<Record<(typeof paths)[number], string>>

beforeAll(async () => {
  browser = await launch()
  fixture = await startBridge({ sim: 'marigold', lan: true })
  await fixture.setParts('marigold', {
    fitted: {
      main_jet: { label: '71', bore_mm: 1.85 },
      idle_screws: { label: '1.50', turns: 1.5 },
      power_valve: { label: '6.5', opens_inHg: 6.5 },
    },
    box: { main_jet: [{ label: '69', bore_mm: 1.8 }] },
  })
  const post = (path: string, body: unknown) =>
    fetch(`${fixture.url}${path}`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    })
  await post('/api/cars/marigold/swaps', { part: 'main_jet', to: { label: '69', bore_mm: 1.8 }, cost: 5 })
  for (const [at, distance_km] of [
    ['2025-06-01T10:00:00Z', 300],
    ['2025-06-08T10:00:00Z', 400],
  ] as const) {
    await post('/api/cars/marigold/tanks', { at, distance_km, fuel_l: 50, full: true })
  }
  const run = fixture.addRun({
    car: 'marigold',
    setup: 'rich_main',
    drive: 'traffic',
    seconds: 120,
    seed: 3,
    at: '2025-06-14T09:12:00Z',
  })
  routes = Object.fromEntries(
    paths.map((path) => [path, path === 'run' ? runRoute(run) : `#/${path}`]),
  ) as typeof routes
})
afterAll(async () => {
  await browser.close()
  await fixture.close()
})

/** What axe-core finds, one text a node. */
async function violations(page: Page): Promise<string[]> {
  await page.evaluate(axeSource)
  return await page.evaluate(async () => {
    const { violations: found } = await (window as unknown as AxeWindow).axe.run()
    return found.flatMap(({ id, nodes }) =>
      nodes.map(({ target, any }) => `${id}: ${target.join(' ')} ${any[0]?.message ?? ''}`),
    )
  })
}

/** Waits until a page shows its content, or one of its states. */
async function settled(page: Page): Promise<void> {
  await page.locator('h1, [data-part="mixture"], main').first().waitFor()
  await page
    .waitForFunction(() => !document.querySelector('[data-state="loading"]'), undefined, { timeout: 15_000 })
    .catch(() => {
      // A page that goes on loading is checked as it stands.
    })
  // Charts are drawn in the next frames.
  await page.waitForTimeout(400)
}

describe.each(themes)('every page in %s', (theme) => {
  test.each(paths)('%s has no violation', async (path) => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/${routes[path]}`, {
      settings: { theme },
    })
    await settled(page)
    const found = await violations(page)
    await close()
    check(
      'axe',
      `${path} in ${theme}: ${found.length === 0 ? 'none' : found.join(' | ')}`,
      found.length === 0,
    )
    expect(complaints).toEqual([])
  })
})

describe('every desk page', () => {
  test.each(deskPaths)('F5: %s fits every size, reflows at 320 px, and at 200 % text', async (path) => {
    const { page, close } = await openPage(browser, `${fixture.url}/${routes[path]}`)
    await settled(page)
    const faults: string[] = []
    const measure = async (what: string) => {
      await page.waitForTimeout(120)
      const { sidewaysPx, clipped } = await overflow(page)
      if (sidewaysPx > 0) faults.push(`${what}: ${sidewaysPx} px too wide`)
      faults.push(...clipped.map((text) => `${what}: cut off: ${text}`))
    }
    for (const [width, height] of sizes) {
      await page.setViewportSize({ width, height })
      await measure(`${width}×${height}`)
    }
    await page.setViewportSize({ width: 1280, height: 800 })
    await page.evaluate(() => {
      document.documentElement.style.fontSize = '200%'
    })
    await measure('200 % text')
    await close()
    check('F5', `${path}: ${faults.length === 0 ? 'fits' : faults.join(' | ')}`, faults.length === 0)
  })

  test.each(deskPaths)('T1: every control of %s is 44 px or more', async (path) => {
    const { page, close } = await openPage(browser, `${fixture.url}/${routes[path]}`)
    await settled(page)
    const small = await smallControls(page, 44)
    await close()
    check('T1', `${path}: ${small.length === 0 ? '≥ 44 px' : small.join(' | ')}`, small.length === 0)
  })

  test.each(['fitted', 'tank', 'setup', 'link', 'connect', 'bench', 'help'] as const)(
    'E1: %s has its empty, loading, error and offline states',
    async (path) => {
      for (const state of states) {
        const { page, close } = await openPage(browser, `${fixture.url}/?state=${state}#/${path}`)
        if (state === 'offline') await page.locator('main .band').first().waitFor()
        else {
          const shown = page.locator(`main [data-state="${state}"]`)
          await shown.waitFor()
          if (state !== 'loading') expect((await shown.textContent())?.trim().length).toBeGreaterThan(10)
        }
        const found = await violations(page)
        await close()
        check(
          'E1',
          `${path} ${state}: ${found.length === 0 ? 'shown' : found.join(' | ')}`,
          found.length === 0,
        )
      }
    },
  )

  test('the row of pages opens its rest by keyboard and closes on Escape', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    const more = page.getByRole('button', { name: /More/ })
    await more.focus()
    await page.keyboard.press('Enter')
    const names = await page.locator('#more-pages a').allTextContents()
    expect(names).toEqual(['Before driving', 'Set-up', 'Link', 'Connect', 'Bench', 'Help'])
    await page.keyboard.press('Escape')
    expect(await page.locator('#more-pages').isVisible()).toBe(false)
    expect(await more.evaluate((node) => node === document.activeElement)).toBe(true)
    await more.click()
    await page.getByRole('link', { name: 'Help' }).click()
    expect(await page.locator('h1').textContent()).toBe('Help')
    await close()
  })
})

describe('connect page', () => {
  test('makes a link that works once, as QR, address and code, and shows who is in', async () => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/#/connect`)
    expect(await page.locator('[data-part="screen-line"]').textContent()).toContain('Screen stays on')
    await page.getByRole('button', { name: 'Make a pairing link' }).click()
    const code = page.locator('[data-part="code"]')
    await code.waitFor()
    const digits = ((await code.textContent()) ?? '').replaceAll(/\D/g, '')
    expect(digits).toHaveLength(6)
    for (const image of await page.locator('[data-part="offer"] img').all())
      expect(await image.evaluate((node) => (node as HTMLImageElement).naturalWidth)).toBeGreaterThan(0)
    const answer = await fetch(`${fixture.url}/api/pair`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ code: digits }),
    })
    expect(answer.status).toBe(200)
    await page.getByRole('button', { name: 'Close' }).click()
    const client = page.locator('[data-client]')
    await client.waitFor()
    await client.getByLabel('May').selectOption('viewer')
    await page.waitForFunction(
      async () => ((await (await fetch('/api/clients')).json()) as { role: string }[])[0]?.role === 'viewer',
    )
    await client.getByRole('button', { name: 'Shut out' }).click()
    await client.waitFor({ state: 'detached' })
    expect(complaints).toEqual([])
    await close()
  })
})

describe('help page', () => {
  test('finds what a person sees, and says so when there is nothing', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/help`)
    await page.getByLabel('Find in the help').fill('permission')
    expect(await page.locator('article').count()).toBe(1)
    expect(await page.locator('article').textContent()).toContain('dialout')
    await page.getByLabel('Find in the help').fill('zzz')
    expect(await page.getByText('Nothing here says').count()).toBe(1)
    await close()
  })
})
