import { createHash, X509Certificate } from 'node:crypto'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { connect } from 'node:tls'
import { type BrowserContext, chromium, type Page } from 'playwright'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import { openLocalAuthority } from '../../bridge/security/certificates.ts'
import { listLanAddresses } from '../../bridge/security/hosts.ts'
import { createBoardLines } from '../../bridge/source/decoders.ts'
import { createSimulatorSource } from '../../bridge/source/simulatorSource.ts'
import { createLiveSimulator, findCar } from '../../simulator/index.ts'
import { type RunningBridge, startBridge } from '../support/bridgeHarness.ts'
import { chromiumArgs, findChromium } from '../support/chromium.ts'
import { runBytes } from './bridgeFixture.ts'
import { check, ensureBuilt, partText, until } from './support.ts'

/*
 * Over https with the bridge's own authority, as a tablet does that trusts it. The trust is given by the authority's key alone, so an expired or
 * wrongly named certificate would still be refused.
 */

let running: RunningBridge
let context: BrowserContext
let profile = ''
let dataDir = ''
let url = ''
let authorityKey = ''

beforeAll(async () => {
  ensureBuilt()
  dataDir = mkdtempSync(join(tmpdir(), 'floatbowl-secure-'))
  const clock = createClock()
  const authority = await openLocalAuthority(dataDir, clock.wallMs())
  running = await startBridge({
    dataDir,
    clock,
    car: 'marigold',
    sources: [
      {
        source: createSimulatorSource({
          name: 'simulator',
          clock,
          createSimulator: async () => createLiveSimulator({ car: findCar('marigold') }),
        }),
        createDecoder: createBoardLines,
        unreadableText: '',
        silence: { reopenS: 0 },
      },
    ],
    server: { lan: true, authority, webDir: process.env.FLOATBOWL_WEB_DIR },
    host: '0.0.0.0',
  })
  authorityKey = keyHash(new X509Certificate(authority.certificatePem))
  // A machine without a network has only its loopback address, which is then what is certified.
  const host = listLanAddresses()[0]?.address ?? '127.0.0.1'
  url = `https://${host}:${running.port}`
  profile = mkdtempSync(join(tmpdir(), 'floatbowl-profile-'))
  context = await chromium.launchPersistentContext(profile, {
    executablePath: await findChromium(),
    args: [...chromiumArgs, `--ignore-certificate-errors-spki-list=${authorityKey}`],
    viewport: { width: 1280, height: 800 },
  })
})
afterAll(async () => {
  await context?.close()
  await running?.stop()
  for (const path of [profile, dataDir]) if (path) rmSync(path, { recursive: true, force: true })
})

/** Hash of a certificate's public key, as browsers pin it. */
function keyHash({ publicKey }: X509Certificate): string {
  return createHash('sha256')
    .update(publicKey.export({ type: 'spki', format: 'der' }))
    .digest('base64')
}

/** The certificate that the server shows, checked against the authority alone. */
function shownCertificate(ca: string): Promise<{ authorized: boolean; subject: string }> {
  return new Promise((resolve, reject) => {
    const { hostname, port } = new URL(url)
    const socket = connect({ host: hostname, port: Number(port), ca, servername: '' }, () => {
      resolve({ authorized: socket.authorized, subject: String(socket.getPeerCertificate().subjectaltname) })
      socket.destroy()
    })
    socket.on('error', reject)
  })
}

/** Hands a file to the page as a drop would. */
async function drop(page: Page, name: string, bytes: Uint8Array): Promise<void> {
  const transfer = await page.evaluateHandle(
    ({ fileName, base64 }) => {
      const data = Uint8Array.from(atob(base64), (c) => c.charCodeAt(0))
      const made = new DataTransfer()
      made.items.add(new File([data], fileName))
      return made
    },
    { fileName: name, base64: Buffer.from(bytes).toString('base64') },
  )
  await page.dispatchEvent('body', 'drop', { dataTransfer: transfer })
}

describe('over https with an authority of our own', () => {
  test('a trusting tablet is paired, sees the number move and keeps its screen on', async () => {
    const ca = await openLocalAuthority(running.dataDir, Date.now())
    const { authorized, subject } = await shownCertificate(ca.certificatePem)
    const { token } = running.server.context.pairing.offer('controller')
    const page = await context.newPage()
    const complaints: string[] = []
    page.on('pageerror', (error) => complaints.push(error.message))
    await page.goto(`${url}/#pair=${token}`)
    await until(
      'the paired page',
      async () => (await page.locator('[data-part="state"]').count()) === 1,
      20_000,
    )
    await until('a number', async () => /^\d/.test(await partText(page, 'number')), 60_000)
    const isSecure = await page.evaluate(() => isSecureContext)
    await page.locator('[data-part="state"]').click()
    await page.locator('[data-part="leave-button"]').click()
    const line = page.locator('[data-check="screen"]')
    await line.waitFor()
    const words = ((await line.textContent()) ?? '').replace(/\s+/g, ' ').trim()
    check(
      'TLS',
      `${url.replace(/:\d+$/, '')}: chain to the authority ${authorized ? 'holds' : 'breaks'} (${subject.slice(0, 60)}), secure context ${isSecure}, live over wss, "${words.slice(0, 40)}"`,
      authorized && isSecure && complaints.length === 0,
    )
    await page.close()
  })

  test('a browser that does not trust the authority is warned', async () => {
    const stranger = await chromium.launch({ executablePath: await findChromium(), args: chromiumArgs })
    const page = await (await stranger.newContext()).newPage()
    await expect(page.goto(url)).rejects.toThrow(/ERR_CERT_AUTHORITY_INVALID/)
    await stranger.close()
  })

  test('the page is kept, starts without the bridge, and opens a file that is dropped on it', async () => {
    const page = await context.newPage()
    await page.goto(url)
    await page.evaluate(async () => {
      await navigator.serviceWorker.ready
    })
    await until('the files are kept', () =>
      page.evaluate(async () => {
        for (const name of await caches.keys())
          if ((await (await caches.open(name)).keys()).length > 5) return true
        return false
      }),
    )
    await running.server.close()
    await page.reload({ waitUntil: 'commit' })
    await until('the page', async () => (await partText(page, 'instead')) !== '', 10_000)
    await page.evaluate(() => {
      location.hash = '#/runs'
    })
    await page.locator('input[type="file"]').waitFor()
    const bytes = runBytes({
      car: 'marigold',
      setup: 'rich_main',
      drive: 'traffic',
      seconds: 120,
      seed: 3,
      at: '2025-06-14T09:12:00Z',
    })
    await drop(page, 'kept.capture', bytes)
    await page.waitForSelector('[data-part="headline"]', { timeout: 60_000 })
    check(
      'OFF',
      `bridge gone: the page started from its own store and opened a dropped run: "${await partText(page, 'headline')}"`,
      (await partText(page, 'integrity')).includes('whole'),
    )
    await page.close()
  })
})
