import { describe, expect, test } from 'vitest'
import type { CarProfile } from '../../core/contract/car.ts'
import { findCar } from '../../simulator/index.ts'
import { servePages } from './servedPages.ts'
import { check, partText, shoot, until } from './support.ts'

const pages = servePages({ sim: 'marigold' })

const car = async () =>
  ((await (await fetch(`${pages.bridge.url}/api/cars`)).json()) as CarProfile[]).find(
    ({ id }) => id === 'marigold',
  )!
const open = (settings?: Record<string, unknown>) => pages.open('#/setup', { settings })

describe('set-up page', () => {
  test('shows the cautions first, once, and keeps them one tap away', async () => {
    const { page, complaints, close } = await open()
    await page.locator('[data-part="first-cautions"]').waitFor()
    const text = (await page.locator('[data-part="first-cautions"]').textContent()) ?? ''
    for (const word of ['while driving', 'unlawful', 'closed garage', 'Cold engine', 'unheated', 'certified'])
      expect(text.toLowerCase()).toContain(word.toLowerCase())
    await shoot(page, 'setup-cautions')
    await page.getByRole('button', { name: 'I have read this' }).click()
    expect(await page.locator('[data-part="first-cautions"]').count()).toBe(0)
    await page.reload()
    await page.getByText('Cautions', { exact: true }).waitFor()
    expect(await page.locator('[data-part="first-cautions"]').count()).toBe(0)
    expect(complaints).toEqual([])
    await close()
  })

  test('keeps what is typed, in the unit of the screen, and survives a visit elsewhere before it is saved', async () => {
    const { page, complaints, close } = await open({ units: { temperature: 'F' } })
    await page.getByLabel('Thermostat opens at').fill('180')
    await page.getByLabel('Name', { exact: true }).fill('Marigold the second')
    await page.locator('[data-part="save-bar"]').waitFor()
    expect(await page.locator('[data-part="save-bar"]').textContent()).toMatch(/Not saved yet: .*engine/)
    await page.goto(`${pages.bridge.url}/#/help`)
    await page.goto(`${pages.bridge.url}/#/setup`)
    await page.getByRole('button', { name: 'Save', exact: true }).click()
    await until('it is saved', async () => (await car()).name === 'Marigold the second')
    // 180 °F = 82.2 °C.
    expect((await car()).engine?.thermostat_C).toBeCloseTo((180 - 32) / 1.8, 6)
    await page.locator('[data-part="save-bar"]').waitFor({ state: 'detached' })
    expect(complaints).toEqual([])
    await close()
  })

  test('a figure out of its limits is explained and does not reach the profile', async () => {
    const { page, close } = await open()
    const field = page.getByLabel('Cylinders')
    await field.fill('99')
    expect(await field.getAttribute('aria-invalid')).toBe('true')
    expect(await page.getByText('expected 1 to 16').count()).toBe(1)
    expect(await page.locator('[data-part="save-bar"]').count()).toBe(0)
    await close()
  })

  test('a measured share of ethanol gives the stoichiometric ratio of that blend', async () => {
    const { page, close } = await open()
    await page.getByLabel('Fuel', { exact: true }).selectOption('blend')
    await page.getByLabel('Ethanol by volume').fill('100')
    // Ethanol C2H6O: 9.00 (Heywood 1988, table D.4).
    expect(await page.locator('[data-part="stoichiometric"]').textContent()).toMatch(/(8\.9|9\.0)\d? : 1/)
    await page.getByLabel('Ethanol by volume').fill('0')
    expect(await page.locator('[data-part="stoichiometric"]').textContent()).toMatch(/14\.\d+ : 1/)
    await close()
  })

  test('targets move the posts of the gate, and Usual brings them back', async () => {
    const { page, close } = await open()
    const row = page.locator('[data-target="power"]')
    const label = () => row.getByRole('img').first().getAttribute('aria-label')
    expect(await label()).toContain('0.84 to 0.89')
    await row.getByLabel('Target λ').fill('0.88')
    await until('the gate follows', async () => ((await label()) ?? '').includes('0.85 to 0.90'))
    await row.getByRole('button', { name: 'Usual' }).click()
    await until('the usual target is back', async () => ((await label()) ?? '').includes('0.84 to 0.89'))
    await close()
  })

  test('a weather report’s pressure becomes the pressure of the place before it is kept', async () => {
    const { page, close } = await open()
    const air = page.locator('[data-part="todays-air"]')
    await air.getByLabel('Temperature in the shade').fill('20')
    await air.getByLabel('Pressure', { exact: true }).fill('101.3')
    await air.getByLabel('Height of the place').fill('1000')
    expect(await air.textContent()).toContain('looks like the weather report’s figure')
    await air.getByLabel('Which pressure').selectOption('sea_level')
    await air.getByRole('button', { name: 'Keep as today’s air' }).click()
    const noted = async () =>
      ((await (await fetch(`${pages.bridge.url}/api/status`)).json()) as { air?: { pressure_kPa: number } })
        .air
    await until('the air is kept', async () => (await noted()) !== undefined)
    // Near 1000 m and 20 °C the pressure of the place is about 11 % lower (89.9 kPa in the standard atmosphere).
    expect((await noted())?.pressure_kPa).toBeGreaterThan(89.5)
    expect((await noted())?.pressure_kPa).toBeLessThan(91)
    await shoot(page, 'setup-air')
    await close()
  })

  test('units of the car change what every page shows', async () => {
    const { page, close } = await open()
    await page.getByRole('button', { name: 'US customary' }).click()
    await page.getByRole('button', { name: 'Save', exact: true }).click()
    await until('it is saved', async () => (await car()).units?.temperature === 'F')
    await page.waitForFunction(() => document.querySelector('main')?.textContent?.includes('°F') === true)
    await close()
  })

  test('while recording every field is inert', async () => {
    const record = (on: boolean) =>
      fetch(`${pages.bridge.url}/api/recording`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({ on }),
      })
    await record(true)
    const { page, close } = await open()
    await page.waitForSelector('main[inert]')
    const field = page.getByLabel('Cylinders')
    await field.waitFor()
    await field.focus()
    const isOut = await field.evaluate((node) => node !== document.activeElement)
    check('T3', `while recording a set-up field takes no focus: ${isOut}`, isOut)
    await record(false)
    await page.waitForSelector('main:not([inert])')
    await close()
  })
})

describe('before driving', () => {
  test('a question becomes a plan, and what was changed since the last run stands beside it', async () => {
    const { right, box } = findCar('marigold')
    await pages.bridge.setParts('marigold', { fitted: right, box })
    pages.bridge.addRun({
      car: 'marigold',
      setup: 'rich_main',
      drive: 'traffic',
      seconds: 20,
      // Newer than what the other tests record.
      at: '2035-06-14T09:12:00Z',
    })
    const { page, complaints, close } = await pages.open('#/check')
    const steps = page.locator('[data-part="plan"] li')
    await steps.first().waitFor()
    expect(await steps.count()).toBe(6)
    expect(await partText(page, 'plan')).toMatch(/full-throttle pulls.*closed course/s)
    await page.getByLabel('Question').selectOption('cruise')
    expect(await steps.allTextContents()).toHaveLength(1)
    expect(await steps.first().textContent()).toMatch(/steady cruise at three speeds\s+(\d+ of )?90/)
    expect(await partText(page, 'plan')).not.toContain('closed course')
    await until('the last run is known', async () =>
      /Changed since .*2035.*: main jet 77 → 71\./.test(await partText(page, 'todays-car')),
    )
    await shoot(page, 'check-plan')
    await page.reload()
    await steps.first().waitFor()
    expect(await steps.count()).toBe(1)
    expect(complaints).toEqual([])
    await close()
  })
})
