import type { Browser, Page } from 'playwright'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { FakeBridge } from './fakeBridge.ts'
import { check, launch, openPage, shoot, until } from './support.ts'

const port = 4928
let browser: Browser
let bridge: FakeBridge

beforeAll(async () => {
  browser = await launch()
})
afterEach(async () => {
  for (const context of browser.contexts()) await context.close()
  await bridge.stop()
})
afterAll(async () => {
  await browser?.close()
})

async function openTrace(width = 1280, height = 800) {
  bridge = await new FakeBridge({
    port,
    wave: (timeS, scene) => ({ ...scene, lambda: scene.lambda + 0.03 * Math.sin(timeS) }),
  }).start()
  const opened = await openPage(browser, `${bridge.url}/#/trace`, { width, height })
  await until('strips', async () => (await opened.page.locator('figure canvas').count()) === 4, 15_000)
  return opened
}

/** Newest time that the first strip's slider reaches. */
const newestS = (page: Page) =>
  page
    .locator('[role="slider"]')
    .first()
    .evaluate((slider) => Number(slider.getAttribute('aria-valuemax')))

const press = (page: Page, name: string) =>
  page.evaluate((wanted) => {
    const button = [...document.querySelectorAll('button')].find(
      (candidate) =>
        candidate.getAttribute('aria-label') === wanted || candidate.textContent?.trim() === wanted,
    )
    if (!button) throw new Error(`no button ${wanted}`)
    button.click()
  }, name)

describe('trace page', () => {
  test('strips roll, stand still on pause, look back, and go on live', async () => {
    const { page, complaints } = await openTrace()
    const before = await newestS(page)
    await until('it rolls', async () => (await newestS(page)) > before + 0.5, 5000)
    await press(page, 'Pause')
    await page.waitForTimeout(300)
    const held = await newestS(page)
    await page.waitForTimeout(1000)
    expect(await newestS(page)).toBe(held)
    await press(page, '10 s')
    await press(page, 'Earlier')
    await until('it looks back', async () => (await newestS(page)) < held - 2, 5000)
    await press(page, 'Live')
    await until('it is live again', async () => (await newestS(page)) > held + 0.5, 5000)
    expect(complaints).toEqual([])
  })

  test('channels are chosen by name and stay chosen over a reload', async () => {
    const { page } = await openTrace()
    await page.evaluate(() => {
      document.querySelector<HTMLDetailsElement>('.controls details')!.open = true
      const coolant = [...document.querySelectorAll('label')].find((label) =>
        label.textContent?.includes('coolant'),
      )
      coolant!.querySelector('input')!.click()
    })
    await until('five strips', async () => (await page.locator('figure canvas').count()) === 5)
    await page.reload()
    await until('five strips again', async () => (await page.locator('figure canvas').count()) === 5, 15_000)
    expect(await page.locator('figure h3').allTextContents()).toContain('coolant')
  })

  test('each strip has a name, a finding, a cursor for keys and a table', async () => {
    const { page } = await openTrace()
    await press(page, 'Pause')
    await page.waitForTimeout(400)
    const slider = page.locator('[role="slider"]').first()
    await slider.focus()
    await page.keyboard.press('End')
    const atEnd = await slider.getAttribute('aria-valuetext')
    await page.keyboard.press('PageDown')
    const earlier = await slider.getAttribute('aria-valuetext')
    await page.evaluate(() => {
      document.querySelector<HTMLDetailsElement>('figure details')!.open = true
    })
    const rows = page.locator('details[open] table').nth(1).locator('tbody tr')
    await until('rows', async () => (await rows.count()) > 10)
    const facts = await page.evaluate(() => {
      const figure = document.querySelector('figure')!
      const byId = (attribute: string) =>
        document.getElementById(figure.getAttribute(attribute) ?? '')?.textContent
      return { name: byId('aria-labelledby'), finding: byId('aria-describedby') }
    })
    check(
      'X1',
      `"${facts.name}": "${facts.finding}"; cursor "${atEnd}", then "${earlier}"; ${await rows.count()} rows (≤ 200)`,
      Boolean(facts.name) &&
        /Between/.test(facts.finding ?? '') &&
        atEnd !== earlier &&
        (await rows.count()) <= 200,
    )
  })

  test('the page reflows on a narrow screen and has touchable controls', async () => {
    const { page } = await openTrace(320, 640)
    const seen = await page.evaluate(() => ({
      overflow: document.documentElement.scrollWidth - innerWidth,
      least: Math.min(
        ...[...document.querySelectorAll('button, summary')].map((control) => {
          const box = control.getBoundingClientRect()
          return Math.min(box.width, box.height)
        }),
      ),
    }))
    check('F5', `trace at 320 px: ${Math.max(0, seen.overflow)} px too wide`, seen.overflow <= 0)
    check('T1', `trace: least control ${seen.least.toFixed(0)} px (≥ 44)`, seen.least >= 44)
    await shoot(page, 'trace-narrow')
  })

  test('each state of the pages can be shown', async () => {
    const { page } = await openTrace()
    for (const path of ['trace', 'check']) {
      const seen: string[] = []
      for (const state of ['empty', 'loading', 'error', 'offline']) {
        await page.goto(`${bridge.url}/?state=${state}#/${path}`)
        const block =
          state === 'offline' ? page.locator('p[role="status"]') : page.locator(`[data-state="${state}"]`)
        await until(`${path} ${state}`, async () => ((await block.textContent()) ?? '').trim().length > 5)
        seen.push(((await block.textContent()) ?? '').trim().replace(/\s+/g, ' ').slice(0, 40))
      }
      check('E1', `${path}: ${seen.join(' / ')}`, new Set(seen).size === 4)
    }
  })
})
