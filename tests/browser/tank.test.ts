import { beforeAll, describe, expect, test } from 'vitest'
import type { Tank } from '../../core/contract/api.ts'
import { servePages } from './servedPages.ts'
import { shoot, until } from './support.ts'

const pages = servePages({ sim: 'marigold' })

const post = (path: string, body: unknown) =>
  fetch(`${pages.bridge.url}${path}`, {
    method: 'POST',
    headers: { 'content-type': 'application/json' },
    body: JSON.stringify(body),
  })
const tanks = async () =>
  (await (await fetch(`${pages.bridge.url}/api/cars/marigold/tanks`)).json()) as Tank[]

describe('tank page', () => {
  test('logs the first filling from the empty page, in miles and gallons, kept in kilometres and litres', async () => {
    const { page, complaints, close } = await pages.open('#/tank', {
      settings: { units: { distance: 'mi', volume: 'gal_us', economy: 'mpg_us' } },
    })
    await page.getByRole('button', { name: 'Log the first filling' }).click()
    await page.getByLabel('Driven since').fill('100')
    await page.getByLabel('Fuel filled in').fill('10')
    await page.getByLabel('Paid').fill('35,50')
    await page.getByRole('button', { name: 'Log the filling' }).click()
    await until('the filling is kept', async () => (await tanks()).length === 1)
    const [tank] = await tanks()
    // 1 mi = 1.609344 km, 1 US gallon = 3.785411784 l (NIST SP 811).
    expect(tank.distance_km).toBeCloseTo(160.9344, 6)
    expect(tank.fuel_l).toBeCloseTo(37.85411784, 6)
    expect(tank).toMatchObject({ cost: 35.5, full: true })
    expect(await page.locator('[data-part="filling"]').textContent()).toContain('starts the count')
    await page.locator('[data-part="undo"] button').click()
    await until('it is taken back', async () => (await tanks()).length === 0)
    expect(complaints).toEqual([])
    await close()
  })

  describe('with four fillings', () => {
    // Once, so that a test that is tried again finds no more of them.
    beforeAll(async () => {
      for (const [at, distance_km, fuel_l, full] of [
        ['2025-06-01T10:00:00Z', 300, 40, true],
        ['2025-06-08T10:00:00Z', 400, 60, true],
        ['2025-06-10T10:00:00Z', 100, 10, false],
        ['2025-06-15T10:00:00Z', 300, 42, true],
      ] as const) {
        await post('/api/cars/marigold/tanks', { at, distance_km, fuel_l, full })
      }
      await post('/api/cars/marigold/swaps', {
        part: 'main_jet',
        to: { label: '69', bore_mm: 1.8 },
        at: '2025-06-09T08:00:00Z',
        cost: 6,
      })
    })

    test('shows economy with its error for each tank and over the last ones, and what was changed before', async () => {
      const { page, complaints, close } = await pages.open('#/tank')
      const rows = page.locator('[data-part="filling"]')
      await rows.first().waitFor()
      const texts = await rows.allTextContents()
      expect(texts).toHaveLength(4)
      // 52 l over 400 km with the part filling; its error: √2 l of 52 l and 1 % of the road, times 1.96.
      const error = 1.96 * 13 * Math.hypot(Math.SQRT2 / 52, 0.01)
      expect(texts[0]).toContain(`13.0 ± ${error.toFixed(1)} L/100 km`)
      // 112 l over 800 km.
      expect(texts[0]).toMatch(/last five 14\.0 ±/)
      expect(texts[1]).toContain('counts with the next full one')
      expect(texts[1]).toContain('main jet')
      expect(texts[2]).toContain('15.0 ±')
      expect(texts[3]).toContain('starts the count')
      await shoot(page, 'tank')
      await page.setViewportSize({ width: 800, height: 1280 })
      await shoot(page, 'tank-portrait')
      expect(complaints).toEqual([])
      await close()
    })

    test('compares two set-ups line by line, and says when it cannot tell', async () => {
      const { page, close } = await pages.open('#/tank')
      await page.getByRole('button', { name: 'Compare them' }).click()
      const card = page.locator('[data-part="scorecard"]')
      await card.waitFor()
      const text = (await card.textContent()) ?? ''
      expect(text).toMatch(/time on target.*cannot tell/s)
      expect(text).toMatch(/spent on parts.*0\.00.*6\.00.*A is better/s)
      await close()
    })

    test('a filling taken out comes back by Undo', async () => {
      const { page, close } = await pages.open('#/tank')
      await page.locator('[data-part="filling"] button').first().click()
      await until('it is out', async () => (await tanks()).length === 3)
      await page.locator('[data-part="undo"] button').click()
      await until('it is back', async () => (await tanks()).length === 4)
      await close()
    })
  })
})
