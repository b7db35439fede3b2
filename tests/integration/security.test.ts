import { stat } from 'node:fs/promises'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { listLanAddresses } from '../../bridge/security/hosts.ts'
import { Pairing } from '../../bridge/security/pairing.ts'
import type { PairedClient, PairingOffer } from '../../core/contract/api.ts'
import {
  boardSetup,
  createHandSource,
  type RunningBridge,
  startBridge,
  until,
} from '../support/bridgeHarness.ts'
import { openLive, send } from '../support/rawRequest.ts'

let running: RunningBridge

beforeEach(async () => {
  running = await startBridge({
    sources: [boardSetup(createHandSource())],
    server: { lan: true },
    host: '0.0.0.0',
  })
})
afterEach(() => running.stop())

/** The machine's own name counts as a network name: a request for it on loopback stands for one from a tablet. */
const lanHost = () => `${hostname().toLowerCase()}:${running.port}`
const offer = async (role = 'controller'): Promise<PairingOffer> =>
  (await send(running.port, { method: 'POST', path: '/api/pairing', json: { role } })).json as PairingOffer
const tokenOf = (made: { token: string }) => made.token

async function pair(role: 'viewer' | 'controller'): Promise<string> {
  const { token } = running.server.context.pairing.offer(role)
  const answer = await send(running.port, {
    method: 'POST',
    path: '/api/pair',
    host: lanHost(),
    json: { token },
  })
  expect(answer.status).toBe(200)
  const cookie = String(answer.headers['set-cookie'])
  expect(cookie).toMatch(
    /^floatbowl=[0-9a-f]{16}\.[\w-]{43}; Path=\/; Max-Age=\d+; HttpOnly; SameSite=Strict$/,
  )
  return cookie.split(';')[0]
}

describe('pairing', () => {
  it('by a link lets a device in once, and never a second time', async () => {
    const { token } = running.server.context.pairing.offer('controller')
    const first = await send(running.port, {
      method: 'POST',
      path: '/api/pair',
      host: lanHost(),
      json: { token },
    })
    const second = await send(running.port, {
      method: 'POST',
      path: '/api/pair',
      host: lanHost(),
      json: { token },
    })
    expect([first.status, second.status]).toEqual([200, 403])
    expect(second.headers['set-cookie']).toBeUndefined()
  })

  it('by six digits allows five tries a minute', async () => {
    const { code } = running.server.context.pairing.offer('controller')
    const wrong = String((Number(code) + 1) % 1_000_000).padStart(6, '0')
    const statuses: number[] = []
    for (let i = 0; i < 6; i++) {
      const json = { code: i === 5 ? code : wrong }
      statuses.push(
        (await send(running.port, { method: 'POST', path: '/api/pair', host: lanHost(), json })).status,
      )
    }
    expect(statuses).toEqual([403, 403, 403, 403, 403, 429])
  })

  it('offers a link and a code of one network interface each, on the machine itself only', async () => {
    const made = await offer()
    expect(made.links.map(({ url }) => url.split('/pair#')[0])).toEqual(
      listLanAddresses().map(({ address }) => `http://${address}:${running.port}`),
    )
    for (const { url, qrSvg } of made.links) {
      expect(url).toMatch(/#pair=[\w-]{32}$/)
      expect(qrSvg).toContain('<svg')
    }
    expect(made.code).toMatch(/^\d{6}$/)
    const cookie = await pair('controller')
    const remote = await send(running.port, {
      method: 'POST',
      path: '/api/pairing',
      host: lanHost(),
      cookie,
      json: {},
    })
    expect(remote.status).toBe(403)
  })

  it('links live for a quarter of an hour and codes are void after twenty wrong tries', () => {
    let nowMs = 0
    const pairing = new Pairing({ nowMs: () => nowMs })
    const old = pairing.offer('viewer')
    nowMs += 15 * 60_000 + 1
    expect(pairing.take({ token: tokenOf(old) })).toBe('wrong')
    const made = pairing.offer('viewer')
    for (let i = 0; i < 20; i++) {
      nowMs += 12_001
      expect(pairing.take({ code: made.code === '000000' ? '000001' : '000000' })).toBe('wrong')
    }
    nowMs += 60_000
    expect(pairing.take({ code: made.code })).toBe('wrong')
  })

  it('keeps no secret in a file that others can read, nor in the log', async () => {
    const cookie = await pair('controller')
    const secret = cookie.split('.')[1]
    const file = join(running.dataDir, '.bridge', 'clients.json')
    expect((await stat(file)).mode & 0o777).toBe(0o600)
    expect((await stat(join(running.dataDir, '.bridge'))).mode & 0o077).toBe(0)
    expect(running.logger.lines.join('\n')).not.toContain(secret)
  })
})

describe('a paired device', () => {
  it('sees and changes as a controller, only sees as a viewer', async () => {
    const viewer = await pair('viewer')
    const controller = await pair('controller')
    const as = (cookie: string, method: string, path: string, json?: unknown) =>
      send(running.port, { method, path, host: lanHost(), cookie, json })
    expect((await as(viewer, 'GET', '/api/status')).json).toMatchObject({ role: 'viewer', loopback: false })
    expect((await as(viewer, 'POST', '/api/recording', { on: true })).status).toBe(403)
    expect((await as(viewer, 'POST', '/api/marks', { label: 'x' })).status).toBe(403)
    expect((await as(viewer, 'GET', '/api/clients')).status).toBe(403)
    expect(running.bridge.recorder.isOn).toBe(false)
    expect((await as(controller, 'POST', '/api/recording', { on: true })).status).toBe(200)
    expect((await as(controller, 'POST', '/api/recording', { on: false })).status).toBe(200)
  })

  it('is told its role on the stream, and is cut off when revoked', async () => {
    const cookie = await pair('viewer')
    const live = await openLive(running.port, { host: lanHost(), cookie })
    expect(live.status).toBe(101)
    await until(() => live.text().includes('"role":"viewer"'), 'the role')
    const list = (await send(running.port, { path: '/api/clients' })).json as PairedClient[]
    expect(list).toMatchObject([{ role: 'viewer' }])
    await send(running.port, {
      method: 'PATCH',
      path: `/api/clients/${list[0].id}`,
      json: { name: 'tablet' },
    })
    expect((await send(running.port, { path: '/api/clients' })).json).toMatchObject([{ name: 'tablet' }])
    expect((await send(running.port, { method: 'DELETE', path: `/api/clients/${list[0].id}` })).status).toBe(
      204,
    )
    await until(() => live.closed(), 'the stream is cut')
    expect((await send(running.port, { path: '/api/status', host: lanHost(), cookie })).status).toBe(401)
  })

  it('stays paired when the bridge starts again', async () => {
    const cookie = await pair('controller')
    const again = await startBridge({
      dataDir: running.dataDir,
      server: { lan: true },
      host: '0.0.0.0',
    })
    const host = `${hostname().toLowerCase()}:${again.port}`
    expect((await send(again.port, { path: '/api/status', host, cookie })).status).toBe(200)
    await again.stop()
  })
})

describe('answers', () => {
  it('carry a strict content policy and no sniffing, framing or referrer', async () => {
    const { headers } = await send(running.port, { path: '/api/status' })
    const policy = String(headers['content-security-policy'])
    expect(policy).toContain("default-src 'none'")
    expect(policy).toContain("script-src 'self';")
    expect(policy).not.toContain('unsafe')
    expect(headers).toMatchObject({
      'x-content-type-options': 'nosniff',
      'x-frame-options': 'DENY',
      'referrer-policy': 'no-referrer',
      'cache-control': 'no-store',
    })
  })

  it('to the page of a pairing link are no refusal, and lead on who is let in already', async () => {
    const { links } = await offer()
    const path = new URL(links[0]?.url ?? 'http://a/pair').pathname
    const ask = (cookie?: string) =>
      send(running.port, { path, host: lanHost(), cookie, headers: { accept: 'text/html' } })
    const answer = await ask()
    expect(answer.status).toBe(200)
    expect(answer.text).toContain('Pair this device')
    expect(answer.headers['set-cookie']).toBeUndefined()
    expect(String(answer.headers['content-security-policy'])).toMatch(/script-src 'sha256-/)
    expect(await ask(await pair('viewer'))).toMatchObject({ status: 302, headers: { location: '/' } })
    const script = await send(running.port, { path, host: lanHost() })
    expect(script.status).toBe(401)
  })

  it('to a page request of a stranger are the pairing page, without a cookie', async () => {
    const answer = await send(running.port, { path: '/', host: lanHost(), headers: { accept: 'text/html' } })
    expect(answer.status).toBe(401)
    expect(answer.text).toContain('Pair this device')
    expect(answer.headers['set-cookie']).toBeUndefined()
    expect(String(answer.headers['content-security-policy'])).toMatch(/script-src 'sha256-/)
  })
})
