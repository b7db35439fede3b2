import type { Browser, Page } from 'playwright'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { FakeBridge } from './fakeBridge.ts'
import { check, driveSizes, launch, openPage, partText, until } from './support.ts'

const port = 4924
let browser: Browser
let bridge: FakeBridge

beforeAll(async () => {
  // A name that is not localhost makes an insecure origin of the same server.
  browser = await launch(['--host-resolver-rules=MAP floatbowl.test 127.0.0.1'])
})
afterEach(async () => {
  for (const context of browser.contexts()) await context.close()
  await bridge?.stop()
})
afterAll(async () => {
  await browser?.close()
})

async function openLive(url?: string, settings?: Record<string, unknown>) {
  bridge = await new FakeBridge({ port }).start()
  const opened = await openPage(browser, url ?? bridge.url, { settings })
  await until('a number', async () => isLive(opened.page))
  return opened
}

const isLive = async (page: Page) => /^\d/.test(await partText(page, 'number'))
const instead = async (page: Page) =>
  (await page.locator('[data-part="instead"]').count()) > 0
    ? `${await partText(page, 'instead')} ${await page.locator('.beside').textContent()}`
        .replace(/\s+/g, ' ')
        .trim()
    : ''

describe('link', () => {
  test('a silent board: the number goes, silence is counted, a caution comes, and all is back at once', async () => {
    const { page, close } = await openLive()
    await page.locator('[data-part="record-button"]').click()
    await until('recording', () => bridge.recording)
    bridge.sampling = false
    const goneMs = await until('the number goes', async () => !(await isLive(page)), 3000, 5)
    const cautionMs =
      goneMs +
      (await until(
        'the caution',
        async () => (await partText(page, 'alarm')).includes('no samples'),
        4000,
        5,
      ))
    await until('three seconds', async () => (await instead(page)).includes('3 s'), 4000)
    const words = await instead(page)
    bridge.sampling = true
    const backMs = await until('the number is back', () => isLive(page), 3000, 5)
    check(
      'S1',
      `number gone after ${goneMs.toFixed(0)} ms (1000–1300), "${words}", caution after ${cautionMs.toFixed(0)} ms (≈ 2000), live again ${backMs.toFixed(0)} ms after the first sample (≤ 1000)`,
      goneMs >= 950 && goneMs <= 1300 && cautionMs >= 1900 && cautionMs <= 2600 && backMs <= 1000,
    )

    await page.evaluate(() => {
      location.hash = '#/trace'
    })
    await page.getByText('I am the passenger').click()
    await until('strips', async () => (await page.locator('figure').count()) >= 4, 15_000)
    await page.evaluate(() => {
      const strip = [...document.querySelectorAll('figure')].find((figure) =>
        figure.textContent?.includes('engine speed'),
      )
      strip!.querySelector('details')!.open = true
    })
    await until(
      'a gap in the table',
      async () => (await page.locator('details[open] td', { hasText: '–' }).count()) > 3,
    )
    const gaps = await page.evaluate(() => {
      const cells = [...document.querySelectorAll('details[open] table:last-of-type tbody tr td')].map(
        (cell) => cell.textContent,
      )
      const first = cells.findIndex((text) => text !== '–')
      const inside = cells.slice(first)
      return {
        hole: inside.filter((text) => text === '–').length,
        rest: inside.filter((text) => text !== '–').length,
      }
    })
    check(
      'S1',
      `the trace keeps it as a gap: ${gaps.hole} empty rows between ${gaps.rest} filled ones`,
      gaps.hole > 3 && gaps.rest > 20,
    )
    await close()
  })

  test('silence only ever grows: no old number comes back for a moment', async () => {
    const { page, close } = await openLive()
    bridge.sampling = false
    const seen = await page.evaluate(
      () =>
        new Promise<number[]>((resolve) => {
          const seen: number[] = []
          const begun = performance.now()
          const look = () => {
            const text = document.querySelector('[data-part="number"]')
              ? '0'
              : (/\d+ s/.exec(document.querySelector('.beside')?.textContent ?? '')?.[0] ?? '0')
            const seconds = Number.parseInt(text, 10)
            if (seen.at(-1) !== seconds) seen.push(seconds)
            if (performance.now() - begun < 6500) requestAnimationFrame(look)
            else resolve(seen)
          }
          look()
        }),
    )
    expect(seen).toEqual([0, 1, 2, 3, 4, 5, 6].slice(0, seen.length))
    expect(seen.length).toBeGreaterThan(5)
    await close()
  })

  test('a bridge that is killed and started again is found without a reload', async () => {
    const { page, complaints, close } = await openLive(undefined, {
      theme: 'night',
      units: { mixture: 'afr' },
    })
    await page.evaluate(() => Object.assign(window, { stillHere: true }))
    expect(await partText(page, 'number')).toMatch(/^1[345]\.\d$/)
    await bridge.stop()
    await until('no link', async () => (await instead(page)).includes('no link'), 6000)
    // Whether the bridge records is not known from here.
    expect(await partText(page, 'recording')).toBe('recording?')
    await page.waitForTimeout(4000)
    bridge = await new FakeBridge({ port }).start()
    const backMs = await until('live again', () => isLive(page), 10_000, 10)
    const kept = await page.evaluate(() => ({
      here: 'stillHere' in window,
      theme: document.documentElement.dataset.theme,
    }))
    const number = await partText(page, 'number')
    check(
      'S2',
      `live ${(backMs / 1000).toFixed(1)} s after the restart (≤ 6), no reload: ${kept.here}, theme ${kept.theme}, ${number} AFR`,
      backMs <= 6000 && kept.here && kept.theme === 'night' && /^1[345]\.\d$/.test(number),
    )
    expect(complaints.filter((text) => !text.includes('WebSocket') && !text.includes('ERR_'))).toEqual([])
    await close()
  })

  test('before driving, a page that is cut off says of board and recording that it does not know', async () => {
    const { page, close } = await openLive()
    await page.evaluate(() => {
      location.hash = '#/check'
    })
    const line = (name: string) =>
      page
        .locator('li', { hasText: `${name}:` })
        .first()
        .textContent()
    await until('the board', async () => /samples a second/.test((await line('Board')) ?? ''))
    await bridge.stop()
    await until('no link', async () => /not known/.test((await line('Board')) ?? ''), 6000)
    expect(await line('Recording')).toMatch(/not known.*goes on/s)
    expect(await page.getByRole('button', { name: /recording/ }).count()).toBe(0)
    await close()
  })

  test('after a lost connection the missed samples are asked for by block number', async () => {
    const { page, close } = await openLive()
    bridge.dropClients()
    await until('a second greeting', () => bridge.greetings.length >= 2, 6000)
    await until('live again', () => isLive(page))
    const [first, second] = bridge.greetings
    check(
      'S2',
      `first word "${first.type}", after the cut "${second.type}" after block ${second.afterBlock}`,
      first.type === 'start' && second.type === 'resume' && Number(second.afterBlock) > 0,
    )
    await close()
  })

  test('a link that dies without a word is found out', async () => {
    const { page, close } = await openLive()
    bridge.connected = false
    const foundMs = await until('no link', async () => (await instead(page)).includes('no link'), 6000, 10)
    bridge.connected = true
    const backMs = await until('live again', () => isLive(page), 7000, 10)
    check(
      'S3',
      `found after ${(foundMs / 1000).toFixed(2)} s (≤ 4), live ${(backMs / 1000).toFixed(2)} s after the network is back (≤ 6)`,
      foundMs <= 4000 && backMs <= 6000,
    )
    await close()
  })

  test('the caution of a page that is cut off tells of the link, and of the cable only where the board is silent', async () => {
    const { page, close } = await openLive()
    await page.locator('[data-part="record-button"]').click()
    await until('recording', () => bridge.recording)
    const seen: string[] = []
    const caution = async (cut: () => void, last: string) => {
      seen.length = 0
      cut()
      await until(last, async () => {
        const text = await partText(page, 'alarm')
        if (text !== '' && seen.at(-1) !== text) seen.push(text)
        return text.startsWith(last)
      })
      return seen.map((text) => text.split('·')[0].trim())
    }
    const back = async () => {
      Object.assign(bridge, { sampling: true, connected: true, paired: true })
      await until('live again', async () => (await isLive(page)) && (await partText(page, 'alarm')) === '')
    }
    expect(await caution(() => (bridge.sampling = false), 'CHECK CABLE')).toEqual(['CHECK CABLE'])
    await back()
    expect(await caution(() => (bridge.connected = false), 'CHECK LINK')).toEqual(['CHECK LINK'])
    for (const [width, height] of driveSizes) {
      await page.setViewportSize({ width, height })
      const alarm = page.locator('[data-part="alarm"] .reason')
      const isWhole = await alarm.evaluate(
        (reason) =>
          reason.getBoundingClientRect().bottom <= reason.closest('button')!.getBoundingClientRect().bottom,
      )
      expect(isWhole).toBe(true)
    }
    await back()
    await caution(() => {
      bridge.paired = false
      bridge.dropClients()
    }, 'PAIR AGAIN')
    expect(seen.join()).not.toContain('CABLE')
    await close()
  })

  test('a page that slept is live soon after it wakes', async () => {
    const { page, close } = await openLive()
    const devtools = await page.context().newCDPSession(page)
    await devtools.send('Page.setWebLifecycleState', { state: 'frozen' })
    bridge.connected = false
    bridge.dropClients()
    await new Promise((resolve) => setTimeout(resolve, 8000))
    bridge.connected = true
    await devtools.send('Page.setWebLifecycleState', { state: 'active' })
    await page.evaluate(() => dispatchEvent(new PageTransitionEvent('pageshow', { persisted: true })))
    const backMs = await until('live again', () => isLive(page), 6000, 10)
    check('S3', `live ${(backMs / 1000).toFixed(2)} s after waking (≤ 2)`, backMs <= 2000)
    await close()
  })

  test('a plain address on the network works, and says what it cannot do', async () => {
    const { page, complaints, close } = await openLive(`http://floatbowl.test:${port}/`)
    const secure = await page.evaluate(() => isSecureContext)
    await page.locator('[data-part="state"]').click()
    await page.locator('[data-part="leave-button"]').click()
    const line = page.locator('[data-check="screen"]')
    await line.waitFor()
    const clip = () =>
      page.evaluate(() => {
        const video = document.querySelector<HTMLVideoElement>('.keep-awake')
        const box = video?.getBoundingClientRect()
        return {
          playedS: video && !video.paused ? video.currentTime : 0,
          sounds: (video?.srcObject as MediaStream | null)?.getAudioTracks().length ?? 0,
          isInSight: box !== undefined && box.width > 0 && box.right > 0 && box.bottom <= innerHeight,
        }
      })
    // The clip needs a tap of its own page.
    await page.locator('h1').click()
    await until('a clip plays', async () => (await clip()).playedS > 0.5, 6000).catch(() => {
      // Shown in the table.
    })
    const { playedS, sounds, isInSight } = await clip()
    check(
      'WAKE',
      `no wake lock here: clip has played ${playedS.toFixed(1)} s, ${sounds} sound track, in sight: ${isInSight}; "${((await line.textContent()) ?? '').replace(/\s+/g, ' ').trim().slice(0, 60)}"`,
      playedS > 0.5 && sounds === 1 && isInSight,
    )
    const text = ((await line.textContent()) ?? '').replace(/\s+/g, ' ')
    await page.evaluate(() => {
      location.hash = '#/trace'
    })
    await page.waitForTimeout(1000)
    check(
      'S4',
      `secure context: ${secure}; "${text}"; ${complaints.length} console errors ${complaints.join('; ')}`,
      !secure && /: (no|perhaps)/.test(text) && complaints.length === 0,
    )
    await close()
  })
})
