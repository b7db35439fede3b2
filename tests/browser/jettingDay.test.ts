import { expect, test } from 'vitest'
import type { Fitted } from '../../core/contract/car.ts'
import { findCar } from '../../simulator/index.ts'
import { runRoute } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { partText, shoot, until } from './support.ts'

const car = findCar('marigold')
const wrong: Fitted = { ...car.right, ...car.setups.rich_main.fitted }

const pages = servePages()

async function fittedNow(): Promise<Fitted> {
  const answer = await fetch(`${pages.bridge.url}/api/cars/marigold/parts`)
  return ((await answer.json()) as { fitted: Fitted }).fitted
}

test('a jetting day: parts, drive, verdict, swap, second drive in other weather, proof, sheet', async () => {
  await pages.bridge.setParts('marigold', { fitted: wrong, box: car.box })
  const first = pages.bridge.addRun({
    car: 'marigold',
    fitted: wrong,
    drive: 'good',
    seed: 11,
    parameters: { 'air.temperature_C': 12, 'air.pressure_kPa': 100.5 },
    at: '2025-06-14T09:12:00Z',
  })
  const { page, complaints, close } = await pages.open('#/runs')

  // The short answer after the drive.
  await page.locator('[data-part="runs"] a').first().click()
  await page.waitForSelector('[data-part="next-card"]', { timeout: 90_000 })
  expect(await page.locator('[data-circuit="main"]').getAttribute('data-verdict')).toBe('rich')
  expect(await partText(page, 'next-card')).toMatch(/main jet 77 → 7\d/)
  await shoot(page, 'day-1-verdict')

  // At the bench: cautions first, then two taps.
  await page.getByRole('button', { name: 'Why not another?' }).click()
  await page.waitForSelector('[data-part="cautions"]', { timeout: 90_000 })
  const button = page.locator('[data-part="fitted-it"]')
  await button.click()
  await button.click()
  await page.waitForSelector('[data-part="fitted"]')
  const now = await fittedNow()
  expect(now.main_jet.label).not.toBe('77')
  expect(now.squirter).toEqual(wrong.squirter)
  await shoot(page, 'day-2-swap')

  // Another day, hotter and lower: the same engine with the new jet.
  const second = pages.bridge.addRun({
    car: 'marigold',
    fitted: now,
    drive: 'good',
    seed: 12,
    parameters: { 'air.temperature_C': 27, 'air.pressure_kPa': 98.5 },
    at: '2025-06-15T10:00:00Z',
  })
  await page.evaluate(() => {
    location.hash = '#/runs'
  })
  const boxes = page.locator('[data-part="runs"] input[type="checkbox"]')
  await until('the second run is listed', async () => (await boxes.count()) === 2)
  await boxes.nth(0).check()
  await boxes.nth(1).check()
  await page.getByRole('button', { name: 'Compare' }).click()
  await page.waitForSelector('[data-part="text"]', { timeout: 90_000 })
  expect(page.url()).toContain(`a=${encodeURIComponent(first)}`)
  expect(await partText(page, 'headline')).toBe('Better: the second run is leaner')
  expect(await page.locator('main').textContent()).toMatch(/Changed: main jet 77 → 7\d\..*brought to/s)
  await shoot(page, 'day-3-proof')

  // What is left to do, and the sheet for the glove box.
  await page.evaluate((route) => {
    location.hash = route
  }, runRoute(second))
  await page.waitForSelector('[data-part="next-card"]', { timeout: 90_000 })
  expect(await page.locator('[data-circuit="main"]').getAttribute('data-verdict')).not.toBe('lean')
  expect(await partText(page, 'next-card')).not.toMatch(/main jet 7\d → 77/)
  const sheet = await page.getByRole('link', { name: 'Printable sheet' }).getAttribute('href')
  const report = await fetch(`${pages.bridge.url}${sheet}`)
  expect(report.status).toBe(200)
  expect(await report.text()).toMatch(/Marigold/)
  // Opened in the browser it is set in the typeface that it carries.
  await page.goto(`${pages.bridge.url}${sheet}`)
  const faces = await page.evaluate(async () => {
    await document.fonts.ready
    return [...document.fonts].map(({ status }) => status)
  })
  expect(faces.length).toBeGreaterThan(0)
  expect(faces.filter((status) => status !== 'loaded')).toEqual([])
  await shoot(page, 'day-4-sheet')
  expect(complaints).toEqual([])
  await close()
})
