import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type BridgeFixture, type MadeRun, startBridge } from './bridgeFixture.ts'
import { axeFindings, overflow, smallControls } from './deskChecks.ts'
import { driveSizes, launch, openPage, partText, shoot } from './support.ts'

const base: MadeRun = { car: 'marigold', drive: 'traffic', seconds: 300, seed: 3, at: '2025-06-14T09:12:00Z' }

let browser: Browser
let fixture: BridgeFixture
let rich = ''
let right = ''
let again = ''

beforeAll(async () => {
  browser = await launch()
  fixture = await startBridge()
  rich = fixture.addRun({ ...base, setup: 'rich_main' })
  right = fixture.addRun({ ...base, setup: 'right', seed: 4, at: '2025-06-15T10:00:00Z' })
  again = fixture.addRun({ ...base, setup: 'right', seed: 5, at: '2025-06-16T10:00:00Z' })
})
afterAll(async () => {
  await browser.close()
  await fixture.close()
})

async function compared(a: string, b: string, options: Parameters<typeof openPage>[2] = {}) {
  const opened = await openPage(
    browser,
    `${fixture.url}/#/compare?a=${encodeURIComponent(a)}&b=${encodeURIComponent(b)}`,
    options,
  )
  await opened.page.waitForSelector('[data-part="text"]', { timeout: 90_000 })
  return opened
}
const verdictOf = (page: Page, state: string) =>
  page.locator(`[data-state="${state}"]`).getAttribute('data-verdict')

describe('compare page', () => {
  test('smaller main jets: leaner in cruise, better, with weather and the changed part named', async () => {
    const { page, complaints, close } = await compared(rich, right)
    expect(await partText(page, 'headline')).toBe('Better: the second run is leaner')
    expect(await verdictOf(page, 'cruise')).toBe('leaner')
    const cruise = page.locator('[data-state="cruise"]')
    expect(await cruise.textContent()).toMatch(/leaner 0\.\d{3}.*\+0\.\d{3} to \+0\.\d{3}.*better/s)
    expect(await cruise.locator('svg[role="img"]').getAttribute('aria-label')).toContain('leaner')
    const text = (await page.locator('main').textContent()) ?? ''
    expect(text).toContain('Changed: main jet 77 → 71')
    expect(text).toMatch(/brought to 20.°C, 100.kPa/)
    expect(text).toContain('density altitude')
    await shoot(page, 'compare')
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

  test('fits every size, has large controls, stands out enough, and B is dashed', async () => {
    const { page, close } = await compared(rich, right)
    for (const [width, height] of [...driveSizes, [320, 640]] as const) {
      await page.setViewportSize({ width, height })
      await page.waitForTimeout(300)
      expect(await overflow(page), `${width}×${height}`).toEqual({ sidewaysPx: 0, clipped: [] })
    }
    await page.setViewportSize({ width: 1280, height: 800 })
    expect(await smallControls(page)).toEqual([])
    for (const [theme, rule] of [
      ['Day', 'color-contrast-enhanced'],
      ['Dark', 'color-contrast-enhanced'],
      ['Night', 'color-contrast'],
    ]) {
      await page.getByRole('button', { name: theme, exact: true }).click()
      await page.waitForTimeout(300)
      expect(await axeFindings(page, [rule]), theme).toEqual([])
    }
    expect(await page.locator('.sign.B').evaluate((node) => getComputedStyle(node).borderTopStyle)).toBe(
      'dashed',
    )
    await close()
  })

  test('without two runs in the address it asks for them, and every forced state can be shown', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/compare`)
    await page.getByLabel('A, before').selectOption(rich)
    await page.getByLabel('B, after').selectOption(again)
    await page.getByRole('button', { name: 'Compare' }).click()
    await page.waitForSelector('[data-part="text"]', { timeout: 90_000 })
    await close()
    for (const state of ['empty', 'loading', 'error', 'offline']) {
      const forced = await openPage(browser, `${fixture.url}/?state=${state}#/compare`)
      if (state === 'offline') await forced.page.getByText('The bridge does not answer').waitFor()
      else await forced.page.waitForSelector(`[data-state="${state}"]`)
      await forced.close()
    }
  })
})
