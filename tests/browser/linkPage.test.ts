import { readFileSync } from 'node:fs'
import type { Browser } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import type { RawLine, SavedLineMap } from '../../core/contract/api.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { type BridgeFixture, startBridge } from './bridgeFixture.ts'
import { launch, openPage, shoot, until } from './support.ts'

let browser: Browser
let fixture: BridgeFixture

beforeAll(async () => {
  browser = await launch()
  fixture = await startBridge({ sim: 'marigold' })
})
afterAll(async () => {
  await browser.close()
  await fixture.close()
})

describe('link page', () => {
  test('shows the source, its counts and the lines as they come, and holds them', async () => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/#/link`)
    await page.locator('[data-source="0"][data-state="connected"]').waitFor()
    expect(await page.locator('[data-source="0"]').textContent()).toMatch(/bad checksums\s*0/)
    const lines = page.locator('[data-part="raw-lines"]')
    const text = async () => (await lines.textContent()) ?? ''
    await until('lines come', async () => /^S,\d+,.*\*[0-9A-F]{4}$/m.test(await text()))
    const first = await text()
    await until('newer lines replace them', async () => (await text()) !== first)
    await page.getByRole('button', { name: 'Hold' }).click()
    await page.waitForTimeout(300)
    const held = await text()
    await page.waitForTimeout(1200)
    expect(await text()).toBe(held)
    await shoot(page, 'link')
    expect(complaints).toEqual([])
    await close()
  })

  test('columns of pasted lines get a channel, unit and range, and the map is saved', async () => {
    const { page, complaints, close } = await openPage(browser, `${fixture.url}/#/link`)
    await page.getByText('Make a line map').click()
    await page.getByLabel('Lines', { exact: true }).selectOption('pasted')
    await page
      .getByLabel('Some lines of the log')
      .fill(
        ['# a board', 'ms;afr;rpm', '100;14,6;2100', '200;14,7;2110', '300;99,0;2120', 'torn;li'].join('\n'),
      )
    const column = (name: string) => page.locator(`[data-column="${name}"]`)
    await column('afr').waitFor()
    await column('ms').getByLabel(/ is$/).selectOption('time')
    await page.getByLabel('The time is in').selectOption('milliseconds')
    await column('afr').getByLabel(/ is$/).selectOption('lambda')
    await column('afr').getByLabel('times').fill('0.0685')
    await column('afr').getByLabel('at most').fill('2')
    await column('rpm').getByLabel(/ is$/).selectOption('engine_speed')
    expect(await column('rpm').locator('.value').textContent()).toMatch(/2120\s*rpm/)
    expect(await column('afr').locator('.value').textContent()).toContain('1 out of range')
    const verdict = (await page.locator('[data-part="map-verdict"]').textContent()) ?? ''
    expect(verdict).toContain('3 of')
    expect(verdict).toContain('torn;li')
    await page.getByLabel('Name of the map').fill('Bench board')
    await shoot(page, 'link-map')
    await page.getByRole('button', { name: 'Save the map' }).click()
    await page.getByText('The map is kept as bench-board.').waitFor()
    const maps = (await (await fetch(`${fixture.url}/api/maps`)).json()) as SavedLineMap[]
    expect(maps.map(({ name }) => name)).toEqual(['bench-board'])
    const map = parseLineMap(readFileSync(maps[0].path, 'utf8'))
    expect(map).toMatchObject({
      lines: { by: 'divider', divider: ';' },
      decimal: ',',
      clock: { field: 'ms', format: 'milliseconds' },
      channels: [
        { field: 'afr', channel: 'lambda', transfer: { type: 'linear', scale: 0.0685 } },
        { field: 'rpm', channel: 'engine_speed', unit: 'rpm' },
      ],
    })
    expect(complaints).toEqual([])
    await close()
  })

  test('a column of live lines shows its value at once', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/link`)
    await page.getByText('Make a line map').click()
    const column = page.locator('[data-column="field 2"]')
    await column.waitFor()
    await column.getByLabel(/ is$/).selectOption('input_1')
    const value = async () => Number.parseFloat((await column.locator('.value').textContent()) ?? '')
    await until('a value is shown', async () => (await value()) > 0)
    const before = await value()
    await until('it moves with the lines', async () => (await value()) !== before)
    await close()
  })

  test('lists the ports or says that there are none', async () => {
    const { page, close } = await openPage(browser, `${fixture.url}/#/link`)
    await page.getByRole('button', { name: 'List the ports' }).click()
    await page
      .getByText(/No serial port is there|not opened/)
      .first()
      .waitFor()
    await close()
  })

  test('the bridge hands out only new lines, at most so many, and refuses nonsense', async () => {
    const ask = async (query: string) => await fetch(`${fixture.url}/api/lines${query}`)
    await until('lines came', async () => ((await (await ask('')).json()) as RawLine[]).length > 20)
    const lines = (await (await ask('')).json()) as RawLine[]
    expect(lines.length).toBeLessThanOrEqual(200)
    const last = lines[lines.length - 1].number
    const more = (await (await ask(`?after=${last}`)).json()) as RawLine[]
    expect(more.every(({ number }) => number > last)).toBe(true)
    expect((await ask('?source=-1')).status).toBe(400)
    expect((await ask('?after=x')).status).toBe(400)
    const bad = await fetch(`${fixture.url}/api/maps/..%2Fcar`, {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: '{}',
    })
    expect(bad.status).toBe(400)
  })
})
