import { hostname } from 'node:os'
import { describe, expect, test } from 'vitest'
import type { PairingOffer } from '../../core/contract/api.ts'
import { servePages } from './servedPages.ts'
import { launch, openPage } from './support.ts'

const pages = servePages({ sim: 'marigold', lan: true })

describe('connect page', () => {
  test('makes a link that works once, as QR, address and code, and shows who is in', async () => {
    const { page, complaints, close } = await pages.open('#/connect')
    expect(await page.locator('[data-part="screen-line"]').textContent()).toContain('Screen stays on')
    await page.getByRole('button', { name: 'Make a pairing link' }).click()
    const code = page.locator('[data-part="code"]')
    await code.waitFor()
    const digits = ((await code.textContent()) ?? '').replaceAll(/\D/g, '')
    expect(digits).toHaveLength(6)
    for (const image of await page.locator('[data-part="offer"] img').all())
      expect(await image.evaluate((node) => (node as HTMLImageElement).naturalWidth)).toBeGreaterThan(0)
    const answer = await fetch(`${pages.bridge.url}/api/pair`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ code: digits }),
    })
    expect(answer.status).toBe(200)
    await page.getByRole('button', { name: 'Close' }).click()
    const client = page.locator('[data-client]')
    await client.waitFor()
    await client.getByLabel('May').selectOption('viewer')
    await page.waitForFunction(
      async () => ((await (await fetch('/api/clients')).json()) as { role: string }[])[0]?.role === 'viewer',
    )
    await client.getByRole('button', { name: 'Shut out' }).click()
    await client.waitFor({ state: 'detached' })
    expect(complaints).toEqual([])
    await close()
  })

  test('its link lets a tablet in without an error in the console', async () => {
    // The machine's own name counts as a network name: a browser that finds it on loopback stands for a tablet.
    const name = hostname().toLowerCase()
    const tablet = await launch([`--host-resolver-rules=MAP ${name} 127.0.0.1`])
    const made = await fetch(`${pages.bridge.url}/api/pairing`, {
      method: 'POST',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify({ role: 'viewer' }),
    })
    const { links } = (await made.json()) as PairingOffer
    const { pathname, hash } = new URL(links[0].url)
    const port = new URL(pages.bridge.url).port
    const { page, complaints, close } = await openPage(tablet, 'about:blank')
    await page.goto(`http://${name}:${port}${pathname}${hash}`)
    await page.locator('[data-part="state"]').waitFor({ timeout: 20_000 })
    expect(new URL(page.url()).pathname).toBe('/')
    expect(complaints).toEqual([])
    await close()
    await tablet.close()
  })

  test('tells once how the screen stays on where the browser trusts no plain address', async () => {
    const { page, complaints, close } = await pages.open('#/connect')
    await page.addInitScript(() => Object.defineProperty(window, 'isSecureContext', { value: false }))
    await page.reload()
    await page.getByText('plain http over the network').waitFor()
    expect(await page.locator('[data-part="screen-line"]').textContent()).toContain('Screen stays on: no')
    expect(complaints).toEqual([])
    await close()
  })

  test('names the port that the bridge listens on', async () => {
    const { page, close } = await pages.open('#/connect')
    const port = new URL(pages.bridge.url).port
    expect(await page.locator('code').allTextContents()).toEqual(
      expect.arrayContaining([`adb reverse tcp:${port} tcp:${port}`, `http://localhost:${port}`]),
    )
    await close()
  })
})
