import type { Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { runRoute } from './bridgeFixture.ts'
import { servePages } from './servedPages.ts'
import { changeSettings, check, partText, shoot, until } from './support.ts'

const pages = servePages()
let page: Page
let complaints: string[]
let close: () => Promise<void>

const scrubber = () => page.locator('[data-part="scrubber"]')
const timeS = async () => Number(await scrubber().getAttribute('aria-valuenow'))
const valueText = async () => (await scrubber().getAttribute('aria-valuetext')) ?? ''
const action = (name: string) => page.locator(`[data-part="replay"] [data-action="${name}"]`)
async function at(expected: number, what: string) {
  await until(what, async () => Math.abs((await timeS()) - expected) < 0.011)
}

beforeAll(async () => {
  const id = pages.bridge.addRun({
    car: 'marigold',
    setup: 'rich_main',
    drive: 'traffic',
    seconds: 150,
    seed: 3,
    at: '2025-06-14T09:12:00Z',
  })
  ;({ page, complaints, close } = await pages.open(runRoute(id)))
  await page.waitForSelector('[data-part="scrubber"]', { timeout: 60_000 })
  await until('the replay is ready', async () =>
    /of \d/.test((await page.locator('[data-part="replay"]').textContent()) ?? ''),
  )
})
afterAll(async () => {
  await close()
})

describe('replay by keyboard', () => {
  test('arrows move a second, with Shift ten, Home and End to the ends', async () => {
    await page.keyboard.press('Home')
    const startS = await timeS()
    await page.keyboard.press('Shift+ArrowRight')
    await at(startS + 10, 'ten seconds on')
    await page.keyboard.press('ArrowRight')
    await at(startS + 11, 'one second on')
    await page.keyboard.press('ArrowLeft')
    await at(startS + 10, 'one second back')
    await page.keyboard.press('Shift+ArrowLeft')
    await at(startS, 'ten seconds back')
    await page.keyboard.press('End')
    await until('the end', async () => (await timeS()) > 140)
  })

  test('comma and full stop step by one sample', async () => {
    await page.keyboard.press('Home')
    for (let i = 0; i < 6; i++) await page.keyboard.press('Shift+ArrowRight')
    const fromS = await timeS()
    await page.keyboard.press('.')
    await until('a sample on', async () => (await timeS()) > fromS)
    const onS = await timeS()
    expect(onS - fromS).toBeLessThan(0.03)
    await page.keyboard.press('.')
    await until('another', async () => (await timeS()) > onS)
    await page.keyboard.press(',')
    await until('and back', async () => Math.abs((await timeS()) - onS) < 0.006)
  })

  test('Space and K play and pause; the picture moves with the cursor', async () => {
    await page.keyboard.press('Home')
    await page.keyboard.press('Shift+ArrowRight')
    const fromS = await timeS()
    await page.keyboard.press(' ')
    await until('it plays', async () => (await timeS()) > fromS + 0.5)
    await page.keyboard.press('k')
    const pausedS = await timeS()
    await new Promise((resolve) => setTimeout(resolve, 300))
    expect(await timeS()).toBeCloseTo(pausedS, 5)
    await page.getByRole('button', { name: '16×' }).click()
    await page.keyboard.press('Escape')
    await page.evaluate(() => (document.activeElement as HTMLElement)?.blur())
    const fastS = await timeS()
    const begunMs = Date.now()
    await page.keyboard.press('k')
    await until('sixteen times as fast', async () => (await timeS()) > fastS + 8)
    await page.keyboard.press('k')
    expect(((await timeS()) - fastS) / ((Date.now() - begunMs) / 1000)).toBeGreaterThan(4)
    await page.getByRole('button', { name: '1×', exact: true }).click()
    await page.evaluate(() => (document.activeElement as HTMLElement)?.blur())
  })

  test('N and P go to events, and brackets keep two moments', async () => {
    await page.keyboard.press('Home')
    await page.keyboard.press('n')
    await until('an event', async () => (await timeS()) > 1)
    const firstS = await timeS()
    await page.keyboard.press('[')
    await page.keyboard.press('n')
    await until('the next', async () => (await timeS()) > firstS)
    await page.keyboard.press(']')
    await page.waitForSelector('[data-part="replay-marks"]')
    expect(await partText(page, 'replay-marks')).toContain('B − A')
    await page.keyboard.press('p')
    await at(firstS, 'the event before')
  })

  test('a question mark lists the keys, and Escape closes the list and then leaves', async () => {
    await page.keyboard.press('?')
    await page.waitForSelector('[data-part="replay-help"]')
    await shoot(page, 'replay-help')
    await page.keyboard.press('Escape')
    await until('closed', async () => (await page.locator('[data-part="replay-help"]').count()) === 0)
    await page.keyboard.press('Escape')
    expect(await page.evaluate(() => document.activeElement?.id)).toBe('headline')
    expect(await page.locator('[data-part="replay-marks"]').count()).toBe(0)
  })

  test('each key has a visible button that does the same', async () => {
    await action('first').click()
    const startS = await timeS()
    await action('forwardFar').click()
    await action('forward').click()
    await action('back').click()
    await at(startS + 10, 'buttons move as keys do')
    for (const name of [
      'toggle',
      'backFar',
      'sampleBack',
      'sampleForward',
      'last',
      'nextEvent',
      'previousEvent',
      'markA',
      'markB',
      'help',
      'leave',
    ]) {
      expect(await action(name).isVisible(), name).toBe(true)
      const box = (await action(name).boundingBox())!
      expect(Math.min(box.width, box.height), name).toBeGreaterThanOrEqual(44)
    }
    check(
      'K1',
      'space, k, arrows, shift, comma, stop, home, end, n, p, brackets, ?, escape; 15 buttons of 44 px or more',
      true,
    )
  })

  test('single letters can be switched off; Space and arrows stay', async () => {
    await page.evaluate(() => (document.activeElement as HTMLElement)?.blur())
    await page.keyboard.press('?')
    await page.getByLabel(/single letters/).uncheck()
    await page.evaluate(() => (document.activeElement as HTMLElement)?.blur())
    await page.keyboard.press('Home')
    const startS = await timeS()
    await page.keyboard.press('n')
    await page.keyboard.press('k')
    await new Promise((resolve) => setTimeout(resolve, 200))
    expect(await timeS()).toBeCloseTo(startS, 5)
    await page.keyboard.press('ArrowRight')
    await at(startS + 1, 'an arrow still moves')
    await page.getByLabel(/single letters/).check()
    await page.keyboard.press('Escape')
  })
})

describe('scrubber', () => {
  test('is a slider that says time, state and lambda', async () => {
    await page.evaluate(() => (document.activeElement as HTMLElement)?.blur())
    await page.keyboard.press('Home')
    for (let i = 0; i < 7; i++) await page.keyboard.press('Shift+ArrowRight')
    await until('words with a lambda', async () =>
      /^1 minute \d+ seconds?, [a-z- ]+, (lambda \d\.\d\d|no lambda.*)$/.test(await valueText()),
    )
    expect(await scrubber().getAttribute('role')).toBe('slider')
    for (let i = 0; i < 60 && !/lambda \d/.test(await valueText()); i++) {
      await page.keyboard.press('ArrowRight')
      await new Promise((resolve) => setTimeout(resolve, 60))
    }
    expect(await valueText()).toMatch(/lambda \d\.\d\d/)
    const said = /lambda (\d\.\d\d)/.exec(await valueText())![1]
    expect(await page.locator('[data-part="replay-drive"] [data-part="number"]').textContent()).toBe(said)
    // In the unit that the picture beside it shows.
    await changeSettings(page, { units: { mixture: 'afr' } })
    await until('words in AFR', async () => /AFR 1\d\.\d/.test(await valueText()))
    await changeSettings(page, { units: {} })
  })

  test('shows its focus and lets the keyboard go on', async () => {
    await scrubber().focus()
    await page.keyboard.press('ArrowRight')
    const outline = await scrubber().evaluate((node) => getComputedStyle(node).outlineWidth)
    expect(outline).toBe('3px')
    await page.keyboard.press('Tab')
    expect(await page.evaluate(() => document.activeElement?.getAttribute('data-action'))).toBe('toggle')
    await page.keyboard.press('Shift+Tab')
    await page.keyboard.press('Shift+Tab')
    const isFree = await page.evaluate(() => document.activeElement?.getAttribute('data-part') !== 'scrubber')
    check('K2', `role=slider, "${await valueText()}", focus ring ${outline}, Tab leads on: ${isFree}`, isFree)
  })

  test('follows a pointer', async () => {
    await scrubber().scrollIntoViewIfNeeded()
    const box = (await scrubber().boundingBox())!
    await page.mouse.click(box.x + box.width * 0.5, box.y + box.height / 2)
    await until('the middle', async () => Math.abs((await timeS()) - 75) < 3)
    await shoot(page, 'replay')
  })

  test('nothing was complained about', () => {
    expect(complaints).toEqual([])
  })
})
