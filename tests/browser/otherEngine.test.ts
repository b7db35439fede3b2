import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { findCar } from '../../simulator/index.ts'
import { type BridgeFixture, runRoute, startBridge } from './bridgeFixture.ts'
import { until } from './support.ts'
import { hasWebKit, openWebKit, type WebKitPage } from './webkit.ts'

/*
 * What the person with the other kind of tablet sees: pages that come up, whole and without an error, and a number that lives. Every finer check is made in
 * Chromium. Passed over, and said, where the engine is not installed or does not start.
 */

const started = hasWebKit()
  ? await openWebKit(4797, 1300, 900).catch((error: unknown) => console.warn(`no WebKit: ${error}`))
  : console.warn('no WebKit: install webkit2gtk-driver and xvfb to test in it')
/** Used only where it has started. */
const page = started as WebKitPage

/** Errors and broken promises from here on are kept in the page. */
const listen = `
  window.faults = []
  addEventListener('error', (event) => faults.push(event.message))
  addEventListener('unhandledrejection', (event) => faults.push(String(event.reason)))
  const plain = console.error
  console.error = (...words) => { faults.push(words.join(' ')); plain(...words) }
`
/** What is broken on the page as it stands. A sign is small; only gates and charts may be large. */
const broken = `
  const found = faults.splice(0)
  if (document.documentElement.scrollWidth > innerWidth) found.push('too wide')
  for (const svg of document.querySelectorAll('svg')) {
    const { width, height } = svg.getBoundingClientRect()
    if (height > 160 && width > 160 && !svg.closest('[data-part="strips"], [data-part="mixture"]')) {
      found.push('a sign of ' + Math.round(width) + ' by ' + Math.round(height) + ' px')
    }
  }
  for (const { width, height } of document.querySelectorAll('canvas')) if (width * height === 0) found.push('an empty chart')
  return found
`
const words = `return document.body.innerText`

describe.skipIf(!started)('in WebKit', () => {
  let bridge: BridgeFixture
  let run: string

  beforeAll(async () => {
    bridge = await startBridge({ sim: 'juniper' })
    const car = findCar('juniper')
    await bridge.setParts('juniper', { fitted: car.right, box: car.box })
    run = bridge.addRun({ car: 'juniper', seconds: 240, drive: 'good', seed: 3, at: '2025-06-14T09:12:00Z' })
    await page.go(bridge.url)
    await page.run(listen)
  })
  afterAll(async () => {
    await page.close()
    await bridge?.close()
  })

  const shows = (text: RegExp, limitMs = 30_000) =>
    until(String(text), async () => text.test(await page.run<string>(words)), limitMs, 200)

  it('the number lives, and a tap starts and stops a recording and lets sound play', async () => {
    await shows(/SENSOR\s+WARMING|ON TARGET|RICH|LEAN/)
    await page.click(`//button[contains(., "Record")]`)
    await shows(/0:0[1-9]/)
    expect(await page.run<string>(words)).not.toContain('SOUND OFF')
    await page.click(`//button[contains(., "Stop")]`)
    await shows(/not recording/)
    expect(await page.run(broken)).toEqual([])
  })

  it('every page comes up whole', async () => {
    const faults: string[] = []
    for (const path of [
      'trace',
      'runs',
      'fitted',
      'tank',
      'setup',
      'link',
      'connect',
      'check',
      'bench',
      'help',
    ]) {
      await page.run(`location.hash = '#/${path}'`)
      await until(path, () =>
        page.run<boolean>(`return document.querySelector('main')?.innerText.length > 40`),
      )
      for (const fault of await page.run<string[]>(broken)) faults.push(`${path}: ${fault}`)
    }
    expect(faults).toEqual([])
  })

  it('a run is read, worked out and drawn', async () => {
    await page.run(`location.hash = ${JSON.stringify(runRoute(run))}`)
    await until(
      'the next change',
      () => page.run<boolean>(`return document.querySelector('[data-part="next-card"]') !== null`),
      90_000,
      500,
    )
    expect(await page.run<number>(`return document.querySelectorAll('canvas').length`)).toBeGreaterThan(1)
    expect(await page.run(broken)).toEqual([])
  })
})
