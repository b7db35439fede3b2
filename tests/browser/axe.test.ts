import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type BridgeFixture, runRoute, startBridge } from './bridgeFixture.ts'
import { overflow, smallControls } from './deskChecks.ts'
import { check, launch, openPage, setTheme, twoFrames } from './support.ts'

const axeSource = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')

interface AxeOptions {
  rules?: Record<string, { enabled: boolean }>
  runOnly?: { type: 'rule'; values: string[] }
}
interface AxeWindow {
  axe: {
    run(
      root: Document,
      options: AxeOptions,
    ): Promise<{
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
/** Pages that answer to `?state=…`. */
const states = ['empty', 'loading', 'error', 'offline'] as const
const themes = ['day', 'dark', 'night'] as const
/** Desk sizes, and the width at which a page reflows. */
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

/** What axe-core finds, one text a node: everything, or only what depends on the colours. */
async function violations(page: Page, options: AxeOptions): Promise<string[]> {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axeSource)
  return await page.evaluate(async (wanted) => {
    const { violations: found } = await (window as unknown as AxeWindow).axe.run(document, wanted)
    return found.flatMap(({ id, nodes }) =>
      nodes.map(({ target, any }) => `${id}: ${target.join(' ')} ${any[0]?.message ?? ''}`),
    )
  }, options)
}

/** All rules, with text at 7:1. */
const everything: AxeOptions = { rules: { 'color-contrast-enhanced': { enabled: true } } }
/** What another theme can change: text at 7:1, at night at 4.5:1. */
const coloursOf = (theme: (typeof themes)[number]): AxeOptions => ({
  runOnly: { type: 'rule', values: [theme === 'night' ? 'color-contrast' : 'color-contrast-enhanced'] },
})

/** Waits until a page shows its content, or one of its states. */
async function settled(page: Page): Promise<void> {
  await page.locator('h1, [data-part="mixture"], main').first().waitFor()
  await page
    .waitForFunction(() => !document.querySelector('[data-state="loading"]'), undefined, { timeout: 15_000 })
    .catch(() => {
      // A page that goes on loading is checked as it stands.
    })
  // Charts are drawn in the next frames.
  await twoFrames(page)
  await twoFrames(page)
}

/** What does not fit in the window as it is now. */
async function misfits(page: Page, what: string): Promise<string[]> {
  await twoFrames(page)
  const { sidewaysPx, clipped } = await overflow(page)
  return [
    ...(sidewaysPx > 0 ? [`${what}: ${sidewaysPx} px too wide`] : []),
    ...clipped.map((text) => `${what}: cut off: ${text}`),
  ]
}

async function checkFit(page: Page, path: string): Promise<void> {
  const faults: string[] = []
  for (const [width, height] of sizes) {
    await page.setViewportSize({ width, height })
    faults.push(...(await misfits(page, `${width}×${height}`)))
  }
  await page.setViewportSize({ width: 1280, height: 800 })
  await page.evaluate(() => {
    document.documentElement.style.fontSize = '200%'
  })
  faults.push(...(await misfits(page, '200 % text')))
  await page.evaluate(() => {
    document.documentElement.style.fontSize = ''
  })
  check(
    'F5',
    `${path}: ${faults.length === 0 ? `fits ${sizes.length} sizes, 320 px wide and 200 % text` : faults.join(' | ')}`,
    faults.length === 0,
  )
}

async function checkStates(page: Page, path: (typeof paths)[number]): Promise<void> {
  const route = routes[path]
  const found: string[] = []
  for (const state of states) {
    await page.evaluate(
      (hash) => {
        location.hash = hash
      },
      `${route}${route.includes('?') ? '&' : '?'}state=${state}`,
    )
    if (state === 'offline') await page.locator('main .band').first().waitFor()
    else {
      const shown = page.locator(`main [data-state="${state}"]`)
      await shown.first().waitFor()
      const length = ((await shown.first().textContent()) ?? '').trim().length
      if (state !== 'loading' && length <= 10) found.push(`${state} says nothing`)
    }
    found.push(...(await violations(page, everything)).map((text) => `${state}: ${text}`))
  }
  check(
    'E1',
    `${path}: ${found.length === 0 ? `${states.join(', ')} shown` : found.join(' | ')}`,
    found.length === 0,
  )
}

describe('every page', () => {
  // One opening a page: what is looked at in turn needs no other.
  test.each(paths)('%s: no violation in any colours, fits, touchable, with its states', async (path) => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/${routes[path]}`, {
      settings: { theme: 'day' },
    })
    await settled(page)
    const found = await violations(page, everything)
    for (const theme of ['dark', 'night'] as const) {
      await setTheme(page, theme)
      found.push(...(await violations(page, coloursOf(theme))).map((text) => `${theme}: ${text}`))
    }
    await setTheme(page, 'day')
    check('axe', `${path}: ${found.length === 0 ? 'no violation' : found.join(' | ')}`, found.length === 0)
    if (path !== 'drive') {
      await checkFit(page, path)
      const small = await smallControls(page, 44)
      check('T1', `${path}: ${small.length === 0 ? '≥ 44 px' : small.join(' | ')}`, small.length === 0)
      await checkStates(page, path)
    }
    expect.soft(complaints).toEqual([])
    await close()
  })

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
