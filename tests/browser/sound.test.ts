import type { Browser } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { FakeBridge } from './fakeBridge.ts'
import { check, launch, partText, until } from './support.ts'

const port = 4926
let browser: Browser
let bridge: FakeBridge

beforeAll(async () => {
  browser = await launch()
  bridge = await new FakeBridge({ port }).start()
})
afterAll(async () => {
  await browser?.close()
  await bridge?.stop()
})

interface Heard {
  contexts: AudioContext[]
  pulses: number
}

/** A page whose sound contexts a test can get at. */
async function openHeard() {
  const context = await browser.newContext({ viewport: { width: 1280, height: 800 } })
  await context.addInitScript(() => {
    const heard: Heard = { contexts: [], pulses: 0 }
    Object.assign(window, { heard })
    const Real = AudioContext
    window.AudioContext = class extends Real {
      constructor(options?: AudioContextOptions) {
        super(options)
        heard.contexts.push(this)
      }
    }
    const start = OscillatorNode.prototype.start
    OscillatorNode.prototype.start = function (when?: number) {
      heard.pulses++
      start.call(this, when)
    }
  })
  const page = await context.newPage()
  await page.goto(bridge.url)
  await until('a number', async () => /^\d/.test(await partText(page, 'number')))
  return {
    page,
    isOff: async () => (await partText(page, 'notes')).includes('SOUND OFF'),
    close: () => context.close(),
  }
}

describe('sound', () => {
  test('SOUND OFF is shown until a tap, when it is taken away, and not after the next tap', async () => {
    const { page, isOff, close } = await openHeard()
    expect(await isOff()).toBe(true)
    await page.locator('[data-part="state"]').click()
    await until('sound on', async () => !(await isOff()), 3000)

    await page.evaluate(() => (window as unknown as { heard: Heard }).heard.contexts[0].suspend())
    const offMs = await until('SOUND OFF', isOff, 3000, 10)
    await page.locator('[data-part="state"]').click()
    const onMs = await until('sound on again', async () => !(await isOff()), 3000, 10)
    check(
      'A5',
      `suspended: SOUND OFF after ${offMs.toFixed(0)} ms (≤ 1000), on ${onMs.toFixed(0)} ms after the tap`,
      offMs <= 1000,
    )

    // A context that says "running" while its clock stands still.
    await page.evaluate(() => {
      const [context] = (window as unknown as { heard: Heard }).heard.contexts
      const at = context.currentTime
      Object.defineProperty(context, 'currentTime', { get: () => at })
    })
    const frozenMs = await until('SOUND OFF', isOff, 3000, 10)
    await page.locator('[data-part="state"]').click()
    await until('sound on again', async () => !(await isOff()), 3000, 10)
    const contexts = await page.evaluate(() => (window as unknown as { heard: Heard }).heard.contexts.length)
    check(
      'A5',
      `frozen clock: SOUND OFF after ${frozenMs.toFixed(0)} ms (≤ 1000), the next tap builds context ${contexts}`,
      frozenMs <= 1000 && contexts === 2,
    )

    await page.evaluate(() => {
      const { contexts } = (window as unknown as { heard: Heard }).heard
      Object.defineProperty(contexts[1], 'state', { get: () => 'interrupted' })
      contexts[1].dispatchEvent(new Event('statechange'))
    })
    const interruptedMs = await until('SOUND OFF', isOff, 3000, 10)
    await page.locator('[data-part="state"]').click()
    await until('sound on again', async () => !(await isOff()), 3000, 10)
    check(
      'A5',
      `interrupted: SOUND OFF after ${interruptedMs.toFixed(0)} ms (≤ 1000), the next tap cures it`,
      interruptedMs <= 1000,
    )
    await close()
  })

  test('the test sound plays the warning and asks whether it was heard', async () => {
    const { page, close } = await openHeard()
    await page.locator('[data-part="leave-button"]').click()
    const line = page.locator('[data-check="sound"]')
    await line.getByRole('button', { name: 'Test sound' }).click()
    await line.getByText('heard?').waitFor()
    await until(
      'three pulses',
      async () => (await page.evaluate(() => (window as unknown as { heard: Heard }).heard.pulses)) === 3,
    )
    await line.getByRole('button', { name: 'Yes' }).click()
    await until('a right line', async () => (await line.getAttribute('data-ok')) === 'true')
    check(
      'A6',
      `test sound: three pulses, then "${((await line.textContent()) ?? '').trim().slice(0, 20)}"`,
      true,
    )
    await close()
  })

  test('a muted alarm stays in sight, without its sound', async () => {
    const { page, close } = await openHeard()
    await page.locator('[data-part="state"]').click()
    bridge.set({ supply: 10.2 })
    await until('the caution', async () => (await page.locator('[data-part="alarm"]').count()) > 0, 5000)
    await page.getByRole('button', { name: /^Mute 10 min/ }).click()
    await until('1 muted', async () => (await partText(page, 'notes')).includes('1 muted'))
    const before = await page.evaluate(() => (window as unknown as { heard: Heard }).heard.pulses)
    bridge.set({ supply: 13.9 })
    await until('it is over', async () => (await page.locator('[data-part="alarm"]').count()) === 0, 6000)
    bridge.set({ supply: 10.2 })
    await until('it is back', async () => (await page.locator('[data-part="alarm"]').count()) > 0, 6000)
    await page.waitForTimeout(400)
    const after = await page.evaluate(() => (window as unknown as { heard: Heard }).heard.pulses)
    bridge.set({ supply: 13.9 })
    expect(after).toBe(before)
    expect(before).toBe(2)
    // One tap on the slat: seen, the helpers are back.
    await page.locator('[data-part="alarm"]').click()
    await until('the helpers', async () => (await page.locator('[data-part="helper"]').count()) === 2)
    await close()
  })
})
