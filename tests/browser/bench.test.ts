import { describe, expect, test } from 'vitest'
import type { CarProfile } from '../../core/contract/car.ts'
import { startForeignBoard } from '../support/foreignBoard.ts'
import { createTestBoard } from '../support/testBoard.ts'
import { startBridge } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { openPage, shoot, until } from './support.ts'

const pages = servePages({ sim: 'marigold' })

const car = async () =>
  ((await (await fetch(`${pages.bridge.url}/api/cars`)).json()) as CarProfile[]).find(
    ({ id }) => id === 'marigold',
  )!

describe('bench page', () => {
  test('fits a thermistor from measured points, shows the errors, and puts it on an input', async () => {
    const { page, complaints, close } = await pages.open('#/bench')
    for (const [i, [ohm, temperature]] of [
      [5700, 0],
      [2500, 20],
      [600, 60],
      [187, 100],
    ].entries()) {
      await page.getByLabel(`Resistance ${i + 1}`).fill(String(ohm))
      await page.getByLabel(`Temperature ${i + 1}`).fill(String(temperature))
    }
    const answer = page.locator('[data-part="sender-answer"]')
    expect(await answer.textContent()).toMatch(/Fits within \d\.\d\d °C.*Steinhart–Hart/s)
    expect(await page.locator('[data-part="point-error"]').allTextContents()).toHaveLength(4)
    await shoot(page, 'bench')
    await page.getByLabel('Wired to').selectOption('input_3')
    await page.getByRole('button', { name: 'Put it on this input' }).click()
    await until('it is in the profile', async () => (await car()).inputs?.input_3 !== undefined)
    expect((await car()).inputs?.input_3).toMatchObject({
      channel: 'coolant',
      transfer: { kind: 'thermistor', supply_V: 5, fixed_ohm: 2490 },
    })
    expect(complaints).toEqual([])
    await close()
  })

  test('drill 50 is 0.0700 in, and the next drill does not go in', async () => {
    const { page, close } = await pages.open('#/bench')
    await page.getByLabel('Bore or drill').fill('#50')
    // ASME B94.11M: 50 is 0.0700 in, 49 is 0.0730 in.
    expect(await page.locator('[data-part="drill-answer"]').textContent()).toMatch(
      /0\.0700 in.*drill 49 \(1\.854 mm\) does not/s,
    )
    await page.getByLabel('Against another').fill('1.9')
    expect(await page.locator('[data-part="drill-answer"]').textContent()).toContain('more area')
    await close()
  })

  test('the gas of complete combustion without oxygen is λ 1, with its uncertainty', async () => {
    const { page, close } = await pages.open('#/bench')
    await page.getByLabel('CO', { exact: true }).fill('0')
    await page.getByLabel('CO₂', { exact: true }).fill('15.5')
    await page.getByLabel('O₂', { exact: true }).fill('0')
    expect(await page.locator('[data-part="gas-answer"]').textContent()).toMatch(/λ 1\.000 ± 0\.0\d\d/)
    await page.getByLabel('O₂', { exact: true }).fill('95')
    expect(await page.locator('[data-part="gas-answer"]').textContent()).toContain('at most 100')
    await close()
  })

  test('a free-air reading is judged, kept, and goes into the next run; a wild one is refused', async () => {
    const { page, close } = await pages.open('#/bench')
    const field = page.getByLabel('Pump current in air')
    await field.fill('0.3')
    expect(await page.locator('[data-part="free-air-answer"]').textContent()).toContain('Not believable')
    expect(await page.getByRole('button', { name: 'Keep this reading' }).isDisabled()).toBe(true)
    await field.fill('2.5')
    expect(await page.locator('[data-part="free-air-answer"]').textContent()).toContain('In order')
    await page.getByRole('button', { name: 'Keep this reading' }).click()
    await until('it is kept', async () => (await car()).sensor?.free_air?.[0]?.current_mA === 2.5)
    const record = (on: boolean) =>
      fetch(`${pages.bridge.url}/api/recording`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({ on }),
      })
    const { run } = (await (await record(true)).json()) as { run: string }
    await record(false)
    const bytes = await (await fetch(`${pages.bridge.url}/api/runs/${run}/bytes`)).text()
    expect(bytes).toContain('{"type":"free_air","bank":1,"current_mA":2.5}')
    await close()
  })
})

describe('ground of an analogue output', () => {
  const perVolt = (1.36 - 0.68) / 5
  /** Warm idle at λ 0.95, read 0.12 V too high by another ground. */
  const readingOf = (channel: string, sample: number) =>
    channel === 'input_1'
      ? (0.95 - 0.68) / perVolt + 0.12 + 0.003 * Math.sin(sample)
      : channel === 'coolant'
        ? 86
        : 850
  const board = createTestBoard({
    rateHz: 50,
    channels: [
      ['input_1', 'V'],
      ['coolant', 'C'],
      ['engine_speed', 'rpm'],
    ],
    readingOf,
  })

  test('is measured against what the device shows, kept in the profile, and taken from every reading after it', async () => {
    const wire = await startForeignBoard((n) =>
      `${n % 50 === 0 ? board.greeting() : ''}${board.samples(1)}`.trimEnd(),
    )
    const bridge = await startBridge({ device: wire.address })
    const profile = {
      id: 'marigold',
      inputs: {
        input_1: {
          channel: 'lambda',
          transfer: {
            kind: 'linear',
            points: [
              [0, 0.68],
              [5, 1.36],
            ],
          },
        },
      },
    }
    await fetch(`${bridge.url}/api/cars/marigold`, {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(profile),
    })
    const { page, complaints, close } = await openPage(pages.browser, `${bridge.url}/#/bench`)
    const ground = page.locator('section', { has: page.locator('#ground') })
    await ground.getByText('ground not checked yet').waitFor()
    // 0.12 V of another ground are 0.016 λ.
    await ground.getByText(/λ 0\.96\d/).waitFor()
    await ground.getByLabel('The device itself shows').fill('0.95')
    await ground.getByRole('button', { name: 'Compare for ten seconds' }).click()
    const answer = ground.locator('[data-part="ground-answer"]')
    await answer.getByText(/\+0\.1[12]\d V/).waitFor({ timeout: 20_000 })
    expect(await answer.textContent()).toMatch(/λ was off by \+0\.016/)
    await shoot(page, 'bench-ground')
    await ground.getByRole('button', { name: 'Keep the offset' }).click()
    await until('it is kept', async () => {
      const cars = (await (await fetch(`${bridge.url}/api/cars`)).json()) as CarProfile[]
      const entry = cars.find(({ id }) => id === 'marigold')?.inputs?.input_1 as
        | { offset_V?: number }
        | undefined
      return Math.abs((entry?.offset_V ?? 0) - 0.12) < 0.005
    })
    await ground.getByText(/λ 0\.9(49|50|51)/).waitFor()
    expect(complaints).toEqual([])
    await close()
    await bridge.close()
    await wire.close()
  })
})
