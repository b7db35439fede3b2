import type { Browser } from 'playwright'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import type { Swap } from '../../core/contract/api.ts'
import { type BridgeFixture, startBridge } from './bridgeFixture.ts'
import { smallControls } from './deskChecks.ts'
import { launch, openPage, shoot, until } from './support.ts'

const parts = {
  fitted: {
    main_jet: { label: '71', bore_mm: 1.85, count: 2 },
    power_valve: { label: '6.5', opens_inHg: 6.5 },
    idle_screws: { label: '1.50', turns: 1.5 },
    squirter: { label: '31', bore_mm: 0.79 },
  },
  box: {
    main_jet: [
      { label: '69', bore_mm: 1.8 },
      { label: '71', bore_mm: 1.85 },
      { label: '73', bore_mm: 1.9 },
    ],
  },
}

let browser: Browser
let fixture: BridgeFixture

beforeAll(async () => {
  browser = await launch()
})
afterAll(async () => {
  await browser.close()
})
beforeEach(async () => {
  fixture = await startBridge({ sim: 'marigold' })
  await fixture.setParts('marigold', parts)
})
afterEach(async () => {
  await fixture.close()
})

const get = async <T>(path: string): Promise<T> => (await (await fetch(`${fixture.url}${path}`)).json()) as T
const fitted = async () => (await get<{ fitted: typeof parts.fitted }>('/api/cars/marigold/parts')).fitted
const swaps = () => get<Swap[]>('/api/cars/marigold/swaps')

describe('fitted page', () => {
  test('two taps log a swap, and Undo takes it back', async () => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="main_jet"]').click()
    await page.locator('[data-part="chooser"] [data-size="73"]').click()
    await page.locator('[data-part="undo"]').waitFor()
    expect(await page.locator('[data-part="undo"]').textContent()).toMatch(
      /main jet 71 → 73.*Undo \(\d+ s\)/s,
    )
    expect(await page.locator('[data-fitted="main_jet"]').textContent()).toContain('73')
    // Two jets were fitted, and the box lists single ones.
    // The page shows it at once; the bridge has it a moment later.
    await expect.poll(async () => (await fitted()).main_jet).toEqual({ label: '73', bore_mm: 1.9, count: 2 })
    await expect
      .poll(async () => (await swaps()).map(({ part, from, to }) => [part, from?.label, to.label]))
      .toEqual([['main_jet', '71', '73']])
    await shoot(page, 'fitted-swapped')
    await page.locator('[data-part="undo"] button').click()
    await page.waitForFunction(
      () => document.querySelector('[data-fitted="main_jet"]')?.textContent?.includes('71') === true,
    )
    await expect.poll(async () => (await fitted()).main_jet).toEqual(parts.fitted.main_jet)
    await expect.poll(swaps).toEqual([])
    expect(complaints).toEqual([])
    await close()
  })

  test('shows bores in millimetres, thousandths of an inch, and with the drill that goes in', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="main_jet"]').waitFor()
    expect(await page.locator('[data-fitted="main_jet"]').textContent()).toMatch(
      /1\.85\smm.*drill 50 goes in/s,
    )
    await close()
    const inches = await openPage(browser, `${fixture.url}/#/fitted`, {
      settings: { units: { bore: 'thou' } },
    })
    await inches.page.locator('[data-fitted="main_jet"]').waitFor()
    expect(await inches.page.locator('[data-fitted="main_jet"]').textContent()).toMatch(/72\.8\sthou/)
    await inches.close()
  })

  test('a size that is not in the box is read in any of its units, and a wrong one is explained', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="squirter"]').click()
    const chooser = page.locator('[data-part="chooser"]')
    await chooser.getByLabel('Bore').fill('seventy')
    expect(await chooser.locator('.read').textContent()).toContain('invalid bore')
    expect(await chooser.getByRole('button', { name: 'Fitted it' }).isDisabled()).toBe(true)
    await chooser.getByLabel('Bore').fill('#65')
    await chooser.getByLabel('Label').fill('35')
    await chooser.getByRole('button', { name: 'Fitted it' }).click()
    await page.locator('[data-part="undo"]').waitFor()
    // Number drill 65 is 0.0350 in (ASME B94.11M).
    expect((await fitted()).squirter).toEqual({ label: '35', bore_mm: 0.889, drill: '65' })
    await close()
  })

  test('screws are turned by steps of the trade', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="idle_screws"]').click()
    await page.locator('[data-part="chooser"]').getByRole('button', { name: '+0.25' }).click()
    await page.locator('[data-part="undo"]').waitFor()
    expect((await fitted()).idle_screws).toEqual({ label: '1.75', turns: 1.75 })
    await close()
  })

  test('the set before the log is one tap away', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="main_jet"]').click()
    await page.locator('[data-part="chooser"] [data-size="69"]').click()
    await page.getByRole('button', { name: 'Back to the set before the log' }).click()
    await until('the former jet is fitted', async () => (await fitted()).main_jet.label === '71')
    expect((await swaps()).map(({ to, reason }) => [to.label, reason])).toEqual([
      ['69', undefined],
      ['71', 'back to the set before the log'],
    ])
    await close()
  })

  test('reason, cost and minutes may be noted later', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.locator('[data-fitted="main_jet"]').click()
    await page.locator('[data-part="chooser"] [data-size="69"]').click()
    await page.getByText('Reason, cost, time').click()
    await page.getByLabel('Reason').fill('cruise was rich')
    await page.getByLabel('Cost').fill('4.5')
    await page.getByLabel('Minutes of work').fill('25')
    await page.getByRole('button', { name: 'Keep', exact: true }).click()
    await until('the notes are kept', async () => (await swaps())[0].minutes === 25)
    expect((await swaps())[0]).toMatchObject({ reason: 'cruise was rich', cost: 4.5, minutes: 25 })
    await close()
  })

  test('a size is put into the box and taken out again, with Undo', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    const add = page.locator('.add')
    await add.getByLabel('Bore').fill('1.95 mm')
    await add.getByLabel('Label').fill('75')
    await add.getByRole('button', { name: 'Put in' }).click()
    const box = async () =>
      (await get<{ box: typeof parts.box }>('/api/cars/marigold/parts')).box.main_jet.map(
        ({ label }) => label,
      )
    await until('the size is in the box', async () => (await box()).length === 4)
    expect(await box()).toEqual(['69', '71', '73', '75'])
    await page.locator('[data-box="main_jet"] summary').click()
    await page.getByRole('button', { name: 'Take main jet 69 out of the box' }).click()
    await until('it is out', async () => (await box()).length === 3)
    await page.locator('[data-part="undo"] button').click()
    await until('it is back', async () => (await box()).length === 4)
    await close()
  })

  test('targets are large enough for dirty hands', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`, { width: 800, height: 1280 })
    await page.locator('[data-fitted="main_jet"]').click()
    expect(await smallControls(page, 44)).toEqual([])
    const heights = await page
      .locator('.tile, [data-part="chooser"] .sizes button')
      .evaluateAll((tiles) => tiles.map((tile) => tile.getBoundingClientRect().height))
    expect(Math.min(...heights)).toBeGreaterThanOrEqual(64)
    await shoot(page, 'fitted-portrait')
    await close()
  })

  test('while recording the page is inert', async () => {
    await fetch(`${fixture.url}/api/recording`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: '{"on":true}',
    })
    const { page, close } = await openPage(browser, `${fixture.url}/#/fitted`)
    await page.waitForSelector('main[inert]')
    expect(await page.locator('.band').first().textContent()).toContain('locked until recording stops')
    await close()
  })
})
