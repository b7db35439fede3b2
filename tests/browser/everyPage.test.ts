import type { Page } from 'playwright'
import { beforeAll, describe, expect, test } from 'vitest'
import { findCar } from '../../simulator/index.ts'
import { runRoute } from './bridgeFixture.ts'
import { contrastIn, everyRule, outsideWords, overflow, smallControls, violations } from './deskChecks.ts'
import { decodePng } from './pixels.ts'
import { servePages } from './servedPages.ts'
import { check, setTheme, shoot, twoFrames } from './support.ts'

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
/** Desk sizes, and the width at which a page reflows. */
const sizes = [
  [1280, 800],
  [1180, 820],
  [1080, 810],
  [960, 600],
  [800, 1280],
  [320, 640],
] as const

const pages = servePages({ sim: 'marigold', lan: true })
let routes: Readonly<Record<(typeof paths)[number], string>>

beforeAll(async () => {
  const car = findCar('marigold')
  await pages.bridge.setParts('marigold', { fitted: car.right, box: car.box })
  const post = (path: string, body: unknown) =>
    fetch(`${pages.bridge.url}${path}`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    })
  await post('/api/cars/marigold/swaps', {
    part: 'main_jet',
    to: car.setups.rich_main.fitted!.main_jet,
    cost: 5,
  })
  for (const [at, distance_km] of [
    ['2025-06-01T10:00:00Z', 300],
    ['2025-06-08T10:00:00Z', 400],
  ] as const) {
    await post('/api/cars/marigold/tanks', { at, distance_km, fuel_l: 50, full: true })
  }
  const drive = { car: 'marigold', drive: 'traffic', seconds: 240 } as const
  const rich = pages.bridge.addRun({ ...drive, setup: 'rich_main', seed: 3, at: '2025-06-14T09:12:00Z' })
  const right = pages.bridge.addRun({ ...drive, setup: 'right', seed: 4, at: '2025-06-15T10:00:00Z' })
  const id = encodeURIComponent
  routes = {
    ...(Object.fromEntries(paths.map((path) => [path, `#/${path}`])) as typeof routes),
    run: runRoute(rich),
    compare: `#/compare?a=${id(rich)}&b=${id(right)}`,
    next: `#/next?runs=${id(rich)}`,
  }
})

/** What shows that a page has worked its runs out. */
const workedOut: Partial<Record<(typeof paths)[number], string>> = {
  run: '[data-part="next-card"]',
  compare: '[data-part="text"]',
  next: '[data-part="next-card"]',
}

/** Waits until a page shows its content, with what it keeps folded open. */
async function settled(page: Page, path: (typeof paths)[number]): Promise<void> {
  await page.locator('h1, [data-part="mixture"], main').first().waitFor()
  const shown = workedOut[path]
  if (shown) await page.locator(shown).waitFor({ timeout: 90_000 })
  await page
    .waitForFunction(() => !document.querySelector('[data-state="loading"]'), undefined, { timeout: 15_000 })
    .catch(() => {
      // A page that goes on loading is checked as it stands.
    })
  if (path === 'next') await page.getByRole('button', { name: 'Why not another?' }).click()
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
    ...(await outsideWords(page)).map((text) => `${what}: out of its box: ${text}`),
  ]
}

async function checkFit(page: Page, path: string): Promise<void> {
  const faults: string[] = []
  for (const [width, height] of sizes) {
    await page.setViewportSize({ width, height })
    faults.push(...(await misfits(page, `${width}×${height}`)))
    if (width === 800) await shoot(page, `page-${path}-portrait`)
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
    found.push(...(await violations(page, everyRule)).map((text) => `${state}: ${text}`))
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
    const { page, complaints, close } = await pages.open(`${routes[path]}`, {
      settings: { theme: 'day' },
    })
    await settled(page, path)
    const found = await violations(page, everyRule)
    for (const theme of ['dark', 'night'] as const) {
      await setTheme(page, theme)
      found.push(...(await violations(page, contrastIn(theme))).map((text) => `${theme}: ${text}`))
    }
    await setTheme(page, 'day')
    await shoot(page, `page-${path}`)
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

  test('forced colours leave a filled button its word, and mark one page as the one shown', async () => {
    const { page, close } = await pages.open('#/tank', { forcedColors: 'active', settings: { theme: 'day' } })
    const blank = await page.context().newPage()
    const chosen = page.locator('footer button.strong')
    const { width, height, rgba } = await decodePng(blank, await chosen.screenshot())
    // Along the middle of the word its strokes follow each other; a bar over it has two edges.
    const row = Array.from({ length: width }, (_, x) => rgba[4 * ((height >> 1) * width + x)] > 127)
    expect(row.filter((isLight, x) => x > 0 && isLight !== row[x - 1]).length).toBeGreaterThan(4)
    const marked = await page
      .locator('nav > a, nav button')
      .evaluateAll((nodes) =>
        nodes
          .filter(
            (node) =>
              getComputedStyle(node).borderBottomColor !==
              getComputedStyle(document.documentElement).backgroundColor,
          )
          .map((node) => node.textContent?.trim()),
      )
    expect(marked).toEqual(['Tank'])
    await close()
  })

  test('the row of pages opens its rest by keyboard and closes on Escape', async () => {
    const { page, close } = await pages.open('#/fitted')
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

describe('help page', () => {
  test('finds what a person sees, and says so when there is nothing', async () => {
    const { page, close } = await pages.open('#/help')
    await page.getByLabel('Find in the help').fill('permission')
    expect(await page.locator('article').count()).toBe(1)
    expect(await page.locator('article').textContent()).toContain('dialout')
    await page.getByLabel('Find in the help').fill('zzz')
    expect(await page.getByText('Nothing here says').count()).toBe(1)
    await close()
  })
})
