import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import type { RawLine, SavedLineMap, Status } from '../../core/contract/api.ts'
import type { RecordingStatus } from '../../core/contract/stream.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { startForeignBoard } from '../support/foreignBoard.ts'
import { runRoute, startBridge } from './bridgeFixture.ts'
import { FakeBridge } from './fakeBridge.ts'
import { servePages } from './servedPages.ts'
import { openPage, shoot, until } from './support.ts'

const pages = servePages({ sim: 'marigold' })

describe('link page', () => {
  test('shows the source, its counts and the lines as they come, and holds them', async () => {
    const { page, complaints, close } = await pages.open('#/link')
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

  test('the name of a source wraps on a narrow screen, here and before driving', async () => {
    const name = 'replay/marigold/2026-05-17/20260517T081203Z_the_long_way_round_by_the_lake.capture'
    const bridge = await new FakeBridge({ name }).start()
    const { page, close } = await openPage(pages.browser, bridge.url, { width: 320, height: 640 })
    for (const route of ['link', 'check']) {
      await page.goto(`${bridge.url}/#/${route}`)
      await page.getByText(name).first().waitFor()
      expect([route, await page.evaluate(() => document.documentElement.scrollWidth)]).toEqual([route, 320])
    }
    await close()
    await bridge.stop()
  })

  test('columns of pasted lines get a channel, unit and range, and the map is saved', async () => {
    const { page, complaints, close } = await pages.open('#/link')
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
    await column('afr').getByLabel('the number is').selectOption('linear')
    await column('afr').getByLabel('times').fill('0.0685')
    await column('afr').getByLabel('to', { exact: true }).fill('2')
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
    const maps = (await (await fetch(`${pages.bridge.url}/api/maps`)).json()) as SavedLineMap[]
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
    const { page, close } = await pages.open('#/link')
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
    const { page, close } = await pages.open('#/link')
    await page.getByRole('button', { name: 'List the ports' }).click()
    await page
      .getByText(/No serial port is there|not opened/)
      .first()
      .waitFor()
    await close()
  })

  test('the bridge hands out only new lines, at most so many, and refuses nonsense', async () => {
    const ask = async (query: string) => await fetch(`${pages.bridge.url}/api/lines${query}`)
    await until('lines came', async () => ((await (await ask('')).json()) as RawLine[]).length > 20)
    const lines = (await (await ask('')).json()) as RawLine[]
    expect(lines.length).toBeLessThanOrEqual(200)
    const last = lines[lines.length - 1].number
    const more = (await (await ask(`?after=${last}`)).json()) as RawLine[]
    expect(more.every(({ number }) => number > last)).toBe(true)
    expect((await ask('?source=-1')).status).toBe(400)
    expect((await ask('?after=x')).status).toBe(400)
    const bad = await fetch(`${pages.bridge.url}/api/maps/..%2Fcar`, {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: '{}',
    })
    expect(bad.status).toBe(400)
  })
})

describe('a board of another format', () => {
  const xor = (text: string) => {
    let sum = 0
    for (const character of text) sum ^= character.charCodeAt(0)
    return sum.toString(16).toUpperCase().padStart(2, '0')
  }
  /** Time of day, λ in volts, a thermistor's volts, rpm; decimal commas and a checksum. */
  const board = (n: number) => {
    const comma = (value: number) => value.toFixed(2).replace('.', ',')
    const seconds = comma(20 + (n % 1500) * 0.02).padStart(5, '0')
    const body = `12:31:${seconds} L${comma(2.2 + 0.1 * (n % 3))} T${comma(1.25)} R${900 + (n % 50)}`
    return `${body}*${xor(body)}`
  }

  test('is read with a pattern, table, thermistor and checksum as soon as the map is saved, while it records', async () => {
    const foreign = await startForeignBoard(board)
    const bridge = await startBridge({ device: foreign.address })
    const { page, complaints, close } = await openPage(pages.browser, `${bridge.url}/#/link`)
    await page.locator('[data-source="0"][data-state="silent"]').waitFor()
    const record = (on: boolean) =>
      fetch(`${bridge.url}/api/recording`, {
        method: 'POST',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify({ on }),
      })
    expect((await record(true)).ok).toBe(true)
    await page.getByLabel('Fields are parted by').selectOption('pattern')
    await page.getByLabel('Pattern (regular expression)').fill('(a+)+')
    await page.getByText('inside a repeated group is not accepted').first().waitFor()
    await page
      .getByLabel('Pattern (regular expression)')
      .fill('(\\d+:\\d+:\\d+,\\d+) L(?<lambda>\\S+) T(?<water>\\S+) R(?<rpm>\\d+)')
    await page.getByText('Comments, headers, gaps, checksum').click()
    await page.getByLabel('Checksum at the end').selectOption('xor')
    await page.getByLabel('Decimal mark').selectOption(',')
    const column = (name: string) => page.locator(`[data-column="${name}"]`)
    await column('group 1').getByLabel(/ is$/).first().selectOption('time')
    await page.getByLabel('The time is in').selectOption('clock')
    await column('lambda').getByLabel('lambda is').selectOption('lambda')
    await column('lambda').getByLabel('the number is').selectOption('table')
    await column('lambda')
      .getByLabel(/^points/)
      .fill('0 0,7\n5 1,3')
    await column('water').getByLabel('water is').selectOption('coolant')
    await column('water').getByLabel('the number is').selectOption('thermistor')
    await page.getByText('a thermistor needs β').waitFor()
    await column('water').getByLabel('β').fill('3435')
    await column('water').getByLabel('resistance').fill('2490')
    await column('rpm').getByLabel('rpm is').selectOption('engine_speed')
    await column('rpm').getByLabel('believable from').fill('0')
    await column('rpm').getByLabel('to', { exact: true }).fill('8000')
    await until('values are shown', async () =>
      /^0\.(964|976|988)/.test(((await column('lambda').locator('.value').textContent()) ?? '').trim()),
    )
    // 1.25 V of 5 V over 2490 Ω is a third of it, 830 Ω: 1/T = 1/298.15 + ln(1/3)/3435.
    expect(await column('water').locator('.value').textContent()).toMatch(/56\.\d+\s*°C/)
    expect(await page.locator('[data-part="map-verdict"]').textContent()).toMatch(/(\d+) of \1 lines fit/)
    await shoot(page, 'link-foreign')
    await page.getByLabel('Name of the map').fill('Shed board')
    await page.getByRole('button', { name: 'Save the map and read with it' }).click()
    await page.getByText('The lines are read with it from now on').waitFor()
    await page.locator('[data-source="0"][data-state="connected"]').waitFor()
    await page.getByText('Locked until recording stops').waitFor()
    await until('samples come', async () => {
      const { sources } = (await (await fetch(`${bridge.url}/api/status`)).json()) as Status
      return sources[0].counts.samples > 50 && sources[0].map === 'Shed board'
    })
    await shoot(page, 'link-foreign-read')
    await page.goto(`${bridge.url}/#/drive`)
    await page
      .getByText(/0\.9[678]/)
      .first()
      .waitFor()
    const { run } = (await (await record(false)).json()) as RecordingStatus
    await page.goto(`${bridge.url}/${runRoute(run!)}`)
    await page.getByText('engine speed').first().waitFor()
    expect(complaints).toEqual([])
    await close()
    await bridge.close()
    await foreign.close()
  })

  test('is read so the next time too, and as our own format again when told', async () => {
    const foreign = await startForeignBoard((n) => `${n * 20};0.9${n % 10};900`)
    const dataDir = mkdtempSync(join(tmpdir(), 'floatbowl-link-'))
    const first = await startBridge({ device: foreign.address, dataDir })
    const map = {
      format: 'floatbowl-map 1',
      name: 'Three columns',
      lines: { by: 'divider', divider: ';', fields: 3 },
      clock: { field: 1, format: 'milliseconds' },
      channels: [
        {
          field: 2,
          channel: 'lambda',
          unit: '1',
          transfer: {
            type: 'table',
            points: [
              [0, 0],
              [2, 2],
            ],
          },
        },
      ],
    }
    const put = (path: string, body: unknown) =>
      fetch(`${first.url}${path}`, {
        method: 'PUT',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(body),
      })
    expect((await put('/api/maps/three', map)).ok).toBe(true)
    expect((await put('/api/sources/0/map', { name: 'three' })).ok).toBe(true)
    await first.close()
    const again = await startBridge({ device: foreign.address, dataDir })
    const { page, close } = await openPage(pages.browser, `${again.url}/#/link`)
    await page.locator('[data-source="0"][data-state="connected"]').waitFor()
    await page.getByText('Read with the map Three columns').last().waitFor()
    await page.getByText('Make a line map').click()
    await page.getByRole('button', { name: 'Change it' }).click()
    expect(await page.getByLabel(/^points/).inputValue()).toBe('0 0\n2 2')
    await page.getByRole('button', { name: 'Read as our own format' }).click()
    await page.locator('[data-source="0"][data-state="silent"]').waitFor()
    await close()
    await again.close()
    await foreign.close()
    rmSync(dataDir, { recursive: true, force: true })
  })
})
