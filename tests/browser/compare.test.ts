import type { Page } from 'playwright'
import { beforeAll, describe, expect, test } from 'vitest'
import type { MadeRun } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import type { OpenOptions } from './support.ts'
import { changeSettings, partText, shoot } from './support.ts'

const base: MadeRun = { car: 'marigold', drive: 'traffic', seconds: 300, seed: 3, at: '2025-06-14T09:12:00Z' }

const pages = servePages()
let rich = ''
let right = ''
let again = ''

beforeAll(async () => {
  rich = pages.bridge.addRun({ ...base, setup: 'rich_main' })
  right = pages.bridge.addRun({ ...base, setup: 'right', seed: 4, at: '2025-06-15T10:00:00Z' })
  again = pages.bridge.addRun({ ...base, setup: 'right', seed: 5, at: '2025-06-16T10:00:00Z' })
})

async function compared(a: string, b: string, options: OpenOptions = {}) {
  const opened = await pages.open(`#/compare?a=${encodeURIComponent(a)}&b=${encodeURIComponent(b)}`, options)
  await opened.page.waitForSelector('[data-part="text"]', { timeout: 90_000 })
  return opened
}
const verdictOf = (page: Page, state: string) =>
  page.locator(`[data-state="${state}"]`).getAttribute('data-verdict')

describe('compare page', () => {
  test('smaller main jets: leaner in cruise, better, with weather and the changed part named', async () => {
    const { page, complaints, close } = await compared(rich, right)
    expect(await partText(page, 'headline')).toBe('Better: the second run is leaner')
    expect(await page.locator('[data-part="compare-next"] button').first().textContent()).toBe('Next change')
    expect(await verdictOf(page, 'cruise')).toBe('leaner')
    const cruise = page.locator('[data-state="cruise"]')
    expect(await cruise.textContent()).toMatch(/leaner 0\.\d{3}.*\+0\.\d{3} to \+0\.\d{3}.*better/s)
    expect(await cruise.locator('svg[role="img"]').getAttribute('aria-label')).toContain('leaner')
    const text = (await page.locator('main').textContent()) ?? ''
    expect(text).toContain('Changed: main jet 77 → 71')
    expect(text).toMatch(/brought to 20.°C, 100.kPa/)
    expect(text).toContain('density altitude')
    // Lines are told apart by the chart's own key.
    expect(await page.locator('[data-part="key"]').first().textContent()).toMatch(/A typical\s+B typical/)
    expect(await page.locator('.sign.B').evaluate((node) => getComputedStyle(node).borderTopStyle)).toBe(
      'dashed',
    )
    await shoot(page, 'compare')
    // In another unit the sentence and the rows still give the same figure.
    await changeSettings(page, { units: { mixture: 'afr', distance: 'mi' } })
    await page.locator('[data-part="text"]', { hasText: 'AFR' }).waitFor()
    const figure = /leaner (\d\.\d\d)/.exec((await cruise.textContent()) ?? '')?.[1]
    expect(await partText(page, 'text')).toContain(`cruise by AFR ${figure} ± `)
    expect(await page.locator('main').textContent()).toMatch(/density altitude −?[\d\s]+.ft/)
    expect(complaints).toEqual([])
    await close()
  })

  test('the same car unchanged: no difference', async () => {
    const { page, close } = await compared(right, again)
    expect(await partText(page, 'headline')).toBe('No difference')
    expect(await verdictOf(page, 'cruise')).toBe('no_difference')
    expect(await page.locator('[data-state="cruise"]').textContent()).toContain('as before')
    await close()
  })

  test('a conversion to injection is named, each run in its own words and air', async () => {
    const car = { car: 'pebble', drive: 'traffic', seconds: 200 } as const
    const before = pages.bridge.addRun({ ...car, setup: 'right', seed: 3, at: '2025-06-14T09:12:00Z' })
    const after = pages.bridge.addRun({ ...car, setup: 'injected', seed: 4, at: '2025-06-15T09:12:00Z' })
    const { page, complaints, close } = await compared(before, after)
    const text = (await page.locator('main').textContent()) ?? ''
    expect(text).toContain('Changed: carburettor → injection')
    expect(text).toMatch(/ A is brought to/)
    expect(text).toMatch(/A: [^B]*the choke is judged.*B: .*the cold enrichment is judged/s)
    expect(complaints).toEqual([])
    await close()
  })

  test('without two runs in the address it asks for them', async () => {
    const { page, close } = await pages.open('#/compare')
    await page.getByLabel('A, before').selectOption(rich)
    await page.getByLabel('B, after').selectOption(again)
    await page.getByRole('button', { name: 'Compare' }).click()
    await page.waitForSelector('[data-part="text"]', { timeout: 90_000 })
    await close()
  })
})
