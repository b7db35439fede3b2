import type { Server } from 'node:http'
import type { AddressInfo } from 'node:net'
import type { Browser, Page } from 'playwright'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { alarmKinds } from '../../core/contract/alarmKinds.ts'
import { createStaticServer } from './staticServer.ts'
import { changeSettings, check, driveSizes, launch, openPage, pictureUrl, twoFrames } from './support.ts'

/** Worst values with as many digits as they ever have. */
const worst: Readonly<Record<string, number>> = {
  exhaust_hot: 930,
  coolant_hot: 118,
  oil_pressure_low: 80,
  supply_low: 11.2,
  supply_high: 15.9,
  fuel_pressure_low: 21,
  fuel_pressure_high: 120,
  no_samples: 120,
  disk_nearly_full: 1.2e8,
}
const own = { mixture: 'afr', pressure: 'inHg_vacuum', temperature: 'F' }

let server: Server
let browser: Browser
let base = ''

beforeAll(async () => {
  server = createStaticServer(() => ({ status: 404 }))
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  base = `http://localhost:${(server.address() as AddressInfo).port}`
  browser = await launch()
})
afterAll(async () => {
  await browser?.close()
  server?.close()
})

/** Text of the record, its size, and how far it hangs out of its box, px. */
function measureRecord(page: Page) {
  return page.locator('[data-part="record"]').evaluate((button) => {
    const box = button.getBoundingClientRect()
    const range = document.createRange()
    const walker = document.createTreeWalker(button, NodeFilter.SHOW_TEXT)
    let outPx = 0
    let sizePx = Number.POSITIVE_INFINITY
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      if (!node.textContent?.trim()) continue
      sizePx = Math.min(sizePx, Number.parseFloat(getComputedStyle(node.parentElement!).fontSize))
      range.selectNodeContents(node)
      for (const { left, right, top, bottom } of range.getClientRects())
        outPx = Math.max(outPx, box.left - left, right - box.right, box.top - top, bottom - box.bottom)
    }
    return { text: button.textContent?.trim() ?? '', sizePx, outPx }
  })
}

test('two notes stand in words that can be read, and leave the state its room', async () => {
  const { page, close } = await openPage(browser, base)
  // Such an address has no lock for the screen.
  await page.addInitScript(() => Object.defineProperty(window, 'isSecureContext', { value: false }))
  await page.goto(pictureUrl(base, { recordingS: 3671, state: 'part_throttle', role: 'controller' }))
  const notes = page.locator('[data-part="notes"]')
  expect(await notes.textContent()).toMatch(/SOUND OFF\s+· screen may sleep/)
  for (const [width, height] of driveSizes) {
    await page.setViewportSize({ width, height })
    await twoFrames(page)
    const { px, belowPx, cutPx } = await page.locator('[data-part="state"]').evaluate((slat) => {
      const note = slat.querySelector('[data-part="notes"]')!
      const words = slat.querySelector<HTMLElement>('.words')!
      return {
        px: Number.parseFloat(getComputedStyle(note).fontSize),
        belowPx: note.getBoundingClientRect().bottom - slat.getBoundingClientRect().bottom,
        cutPx: words.scrollWidth - words.clientWidth,
      }
    })
    const leastPx = width === 1280 ? 37 : 30
    check('F2', `${width}×${height}: notes ${px} px (≥ ${leastPx})`, px >= leastPx)
    check('F5', `${width}×${height}: ${cutPx} px of the state cut by notes`, cutPx <= 0 && belowPx <= 0)
  }
  await close()
})

test('RECORDING FAILED and a mark that was not kept cut nothing of the state, on any screen', async () => {
  const { page, close } = await openPage(browser, base)
  const bad: string[] = []
  let leastPx = Number.POSITIVE_INFINITY
  for (const recordingS of [undefined, 3671]) {
    const scene = { recordingS, problem: 'the disk is full', state: 'part_throttle', role: 'controller' }
    await page.goto(pictureUrl(base, scene))
    for (const [width, height] of [
      ...driveSizes,
      [1024, 600],
      [810, 1080],
      [600, 960],
      [390, 780],
    ] as const) {
      await page.setViewportSize({ width, height })
      for (const isMarking of [false, true]) {
        if (isMarking) await page.keyboard.press('m')
        await twoFrames(page)
        const seen = await page.locator('[data-part="state"]').evaluate((slat) => {
          const part = (name: string) => slat.querySelector<HTMLElement>(name)!
          const words = part('.words')
          const boxes = ['.words', '.recording', '.notes'].map((name) => part(name).getBoundingClientRect())
          const { top, bottom } = slat.getBoundingClientRect()
          return {
            said: slat.textContent!.replace(/\s+/g, ' ').trim(),
            wordPx: Number.parseFloat(getComputedStyle(part('strong')).fontSize),
            cutPx: words.scrollWidth - words.clientWidth,
            outPx: Math.max(...boxes.map((box) => Math.max(top - box.top, box.bottom - bottom))),
          }
        })
        expect(seen.said).toContain('RECORDING FAILED')
        if (seen.cutPx > 0 || seen.outPx > 1) bad.push(`${width}×${height} ${JSON.stringify(seen)}`)
        if (driveSizes.some(([of]) => of === width)) leastPx = Math.min(leastPx, seen.wordPx)
      }
    }
  }
  await close()
  check('F5', `RECORDING FAILED: ${bad.length} cuts ${bad.slice(0, 3).join('; ')}`, bad.length === 0)
  check('F2', `the state beside RECORDING FAILED is ${leastPx.toFixed(0)} px (≥ 30)`, leastPx >= 30)
})

test('the record of an alarm that is over stays within its box on every screen', async () => {
  const sizes = [...driveSizes, [390, 780]] as const
  const { page, close } = await openPage(browser, base)
  const texts = new Set<string>()
  const bad: string[] = []
  let leastPx = Number.POSITIVE_INFINITY
  const measure = async (name: string) => {
    await twoFrames(page)
    const { text, sizePx, outPx } = await measureRecord(page)
    texts.add(text)
    if (outPx > 1) bad.push(`${name}: "${text}" ${outPx.toFixed(0)} px`)
    return sizePx
  }
  const kinds = Object.entries(alarmKinds).filter(([, { priority }]) => priority !== 'advisory')
  for (const [code, { priority }] of kinds) {
    for (const units of [{}, own]) {
      const before = { code: 'sensor_fault', priority: 'caution', startS: 600, worst: null }
      const over = [before, { code, priority, startS: 640, worst: worst[code] ?? 0.95 }]
      await page.goto(pictureUrl(base, { recordingS: 760, units, over }))
      await page.locator('[data-part="record"]').waitFor()
      for (const [width, height] of sizes) {
        await page.setViewportSize({ width, height })
        const sizePx = await measure(`${width}×${height}`)
        if (width === 1280) leastPx = Math.min(leastPx, sizePx)
      }
      await page.setViewportSize({ width: 1280, height: 800 })
      await changeSettings(page, { pixelsPerInch: 189 })
      await measure('1280×800 at 189 px/in')
      await changeSettings(page, { pixelsPerInch: 149 })
    }
  }
  await close()
  expect(texts.size).toBeGreaterThan(kinds.length)
  check(
    'F5',
    `${texts.size} records at ${sizes.length} sizes: ${bad.length} hang out ${bad.slice(0, 5).join('; ')}`,
    bad.length === 0,
  )
  check('F2', `record of an alarm ${leastPx} px (≥ 37)`, leastPx >= 37)
})
