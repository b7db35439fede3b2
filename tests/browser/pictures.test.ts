import { readFileSync, writeFileSync } from 'node:fs'
import type { Page } from 'playwright'
import { beforeAll, describe, expect, test } from 'vitest'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { syntheticResult } from '../support/syntheticRun.ts'
import { runRoute } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { openPage, shoot } from './support.ts'

const shots = new URL('./shots/', import.meta.url).pathname
const pages = servePages({ sim: 'marigold' })
let run: string

beforeAll(async () => {
  run = pages.bridge.addRun({ car: 'marigold', seconds: 240, seed: 4, at: '2026-05-17T08:12:03.000Z' })
})

/** Saves the picture of a chart; returns its name and bytes. */
async function save(
  page: Page,
  figure: number,
  kind: 'PNG' | 'SVG',
): Promise<{ name: string; bytes: Buffer }> {
  const chart = page.locator('figure').nth(figure)
  const details = chart.locator('details.picture')
  if (!(await details.evaluate((node) => (node as HTMLDetailsElement).open)))
    await details.locator('summary').click()
  const [file] = await Promise.all([
    page.waitForEvent('download'),
    chart.getByRole('button', { name: new RegExp(`^${kind}`) }).click(),
  ])
  const bytes = readFileSync((await file.path())!)
  return { name: file.suggestedFilename(), bytes }
}

describe('pictures of charts', () => {
  test('the run page gives a PNG of twice the size and an SVG of vectors, both with title, units, car and date', async () => {
    const { page, complaints, close } = await pages.open(runRoute(run))
    const whole = page.locator('#whole-run figure').first()
    await whole.waitFor({ timeout: 30_000 })
    const figures = page.locator('figure')
    const index = await figures.evaluateAll((all) =>
      all.findIndex((each) => document.getElementById('whole-run')!.contains(each)),
    )
    const png = await save(page, index, 'PNG')
    expect(png.name).toMatch(/^[\w.-]*2026[\w.-]*\.png$/)
    expect(png.bytes.subarray(1, 4).toString('latin1')).toBe('PNG')
    // Width and height stand in the first chunk (PNG specification, 11.2.2).
    expect([png.bytes.readUInt32BE(16), png.bytes.readUInt32BE(20)]).toEqual([2400, 1296])
    writeFileSync(`${shots}picture.png`, png.bytes)
    const svg = await save(page, index, 'SVG')
    const text = svg.bytes.toString('utf8')
    writeFileSync(`${shots}picture.svg`, svg.bytes)
    const title = (await figures.nth(index).locator('h3').textContent()) ?? ''
    expect(text).toContain(`>${title}</text>`)
    expect(text).toMatch(/17 May 2026|May 17, 2026|2026-05-17/)
    expect(text.match(/<path /g)!.length).toBeGreaterThan(5)
    expect(text).not.toMatch(/NaN|Infinity|<image/)
    const { page: shown, close: closeShown } = await openPage(pages.browser, 'about:blank')
    await shown.setContent(text.replace(/^<\?xml[^>]*>/, ''))
    const box = await shown.locator('svg').boundingBox()
    expect([box?.width, box?.height]).toEqual([1200, 648])
    await shoot(shown, 'picture-svg')
    await closeShown()
    expect(complaints).toEqual([])
    await close()
  })

  test('the trace gives a picture of what is in sight now', async () => {
    const { page, close } = await pages.open('#/trace')
    await page.locator('figure').first().getByText('Between').waitFor({ state: 'attached' })
    const svg = await save(page, 0, 'SVG')
    writeFileSync(`${shots}picture-trace.svg`, svg.bytes)
    const text = svg.bytes.toString('utf8')
    expect(text.match(/<path /g)!.length).toBeGreaterThan(3)
    expect(text).not.toMatch(/NaN|Infinity/)
    await shoot(page, 'trace-picture')
    await close()
  })
})

test('a word without end makes the printed sheet no wider', async () => {
  const { page, close } = await openPage(pages.browser, 'about:blank')
  const word = 'm'.repeat(3000)
  const { run, ...rest } = syntheticResult({})
  const result = {
    ...rest,
    run: { ...run, start: '2026-05-04T09:12:30+02:00', title: word, notes: [{ t_s: 5, text: word }] },
  }
  const html = reportHtml({
    analysis: { result, pieces: [], startMs: Number.NaN },
    car: { id: 'x', name: word },
    fitted: { main_jet: { label: word } },
  })
  await page.setContent(html)
  expect(await page.evaluate(() => document.documentElement.scrollWidth - innerWidth)).toBeLessThanOrEqual(0)
  await close()
})
