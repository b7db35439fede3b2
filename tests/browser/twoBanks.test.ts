import type { Browser } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { type BridgeFixture, runRoute, startBridge } from './bridgeFixture.ts'
import { launch, openPage, shoot, until } from './support.ts'

let browser: Browser
let fixture: BridgeFixture
const twoSensors = { 'sensor.banks': 2 }

beforeAll(async () => {
  browser = await launch()
  fixture = await startBridge({ sim: 'marigold', parameters: twoSensors })
  const cars = (await (await fetch(`${fixture.url}/api/cars`)).json()) as { id: string; sensor?: object }[]
  const car = cars.find(({ id }) => id === 'marigold') ?? { id: 'marigold' }
  await fetch(`${fixture.url}/api/cars/marigold`, {
    method: 'PUT',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ ...car, sensor: { ...car.sensor, bank_names: ['left bank', 'right bank'] } }),
  })
})
afterAll(async () => {
  await browser.close()
  await fixture.close()
})

describe('two sensors', () => {
  test.each([
    [1280, 800],
    [800, 1280],
  ])('are two named strips on Drive at %i by %i, without overflow', async (width, height) => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/#/drive`, { width, height })
    await page.getByText('right bank').first().waitFor({ timeout: 30_000 })
    await until('both have a reading', async () => (await page.locator('.bank').count()) === 2, 30_000)
    expect(await page.locator('.bank').allTextContents()).toEqual(['left bank', 'right bank'])
    const boxes = await Promise.all((await page.locator('.bank').all()).map((each) => each.boundingBox()))
    // Told apart by place: neither stands on the other.
    expect(Math.abs(boxes[0]!.y - boxes[1]!.y) + Math.abs(boxes[0]!.x - boxes[1]!.x)).toBeGreaterThan(40)
    const overflow = await page.evaluate(() => [
      document.documentElement.scrollWidth - innerWidth,
      document.documentElement.scrollHeight - innerHeight,
    ])
    expect(overflow[0]).toBeLessThanOrEqual(0)
    expect(overflow[1]).toBeLessThanOrEqual(0)
    await shoot(page, `two-banks-drive-${width}`)
    expect(complaints).toEqual([])
    await close()
  })

  test('are both in the trace', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/trace`)
    await page.locator('figure').first().waitFor()
    await until(
      'a strip for each',
      async () =>
        (await page.locator('figure h3').allTextContents()).filter((text) => /mixture/.test(text)).length ===
        2,
      30_000,
    )
    await shoot(page, 'two-banks-trace')
    await close()
  })

  test('are both in the run, with their difference', async () => {
    const run = fixture.addRun({
      car: 'marigold',
      parameters: twoSensors,
      seconds: 300,
      seed: 6,
      at: '2026-05-18T08:12:03.000Z',
    })
    for (const [width, height] of [
      [1280, 800],
      [800, 1280],
    ]) {
      const { page, complaints, close } = await openPage(browser, `${fixture.url}/${runRoute(run)}`, {
        width,
        height,
      })
      await page.locator('#whole-run figure').first().waitFor({ timeout: 40_000 })
      const text = (await page.locator('main').textContent()) ?? ''
      expect(text).toMatch(/second sensor|bank 2|right bank/)
      await page.screenshot({
        path: new URL(`./shots/two-banks-run-${width}.png`, import.meta.url).pathname,
        fullPage: true,
      })
      expect(complaints).toEqual([])
      await close()
    }
  })
})
