import { beforeAll, describe, expect, test } from 'vitest'
import { runRoute } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { shoot, until } from './support.ts'

const twoSensors = { 'sensor.banks': 2 }
const pages = servePages({ sim: 'marigold', parameters: twoSensors })

beforeAll(async () => {
  const cars = (await (await fetch(`${pages.bridge.url}/api/cars`)).json()) as {
    id: string
    sensor?: object
  }[]
  const car = cars.find(({ id }) => id === 'marigold') ?? { id: 'marigold' }
  await fetch(`${pages.bridge.url}/api/cars/marigold`, {
    method: 'PUT',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify({ ...car, sensor: { ...car.sensor, bank_names: ['left bank', 'right bank'] } }),
  })
})

describe('two sensors', () => {
  test.each([
    [1280, 800],
    [800, 1280],
  ])('are two named strips on Drive at %i by %i, without overflow', async (width, height) => {
    const { page, complaints, close } = await pages.open('#/drive', { width, height })
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
    const { page, close } = await pages.open('#/trace')
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
    const run = pages.bridge.addRun({
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
      const { page, complaints, close } = await pages.open(runRoute(run), {
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
