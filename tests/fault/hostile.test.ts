import { mkdir, symlink, writeFile } from 'node:fs/promises'
import { connect, type Socket } from 'node:net'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import {
  boardSetup,
  createHandSource,
  type RunningBridge,
  readCapture,
  startBridge,
  TestPage,
  until,
} from '../support/bridgeHarness.ts'
import { openLive, send } from '../support/rawRequest.ts'
import { createTestBoard } from '../support/testBoard.ts'

/*
 * What a stranger on the same network may try. The bridge runs, records and shows one good page meanwhile; after each attack the page
 * has every sample, the run has every line, and nothing was handed out or changed.
 */

let running: RunningBridge
let source: ReturnType<typeof createHandSource>
let board: ReturnType<typeof createTestBoard>
let page: TestPage
let fed = 0

beforeEach(async () => {
  source = createHandSource()
  board = createTestBoard()
  fed = 0
  running = await startBridge({
    sources: [boardSetup(source)],
    server: { lan: true, limits: { headersMs: 1500, requestMs: 2500 } },
    host: '0.0.0.0',
  })
  source.feed(board.greeting())
  await running.bridge.startRecording(false)
  await running.bridge.cars.car('test-car').profile.update((profile) => {
    profile.name = 'untouched'
  })
  page = new TestPage(running.port)
  await feedAndCheck()
})

afterEach(async () => {
  await feedAndCheck()
  expect(running.bridge.recorder.isOn).toBe(true)
  expect((await running.bridge.cars.car('test-car').profile.read()).name).toBe('untouched')
  const { run: id } = await running.bridge.recorder.stop('test over')
  const path = join(running.dataDir, String(id))
  expect((await readCapture(path)).match(/ <0 S,/g)?.length).toBe(fed)
  page.close()
  await running.stop()
})

async function feedAndCheck(): Promise<void> {
  source.feed(board.samples(50))
  fed += 50
  await until(() => page.sampleCount === fed, 'the good page has all samples')
}

const lanHost = () => `${hostname().toLowerCase()}:${running.port}`
const run = () => running.bridge.recorder.status.run as string

let address = 10
/** Another address of this machine's for each request, so that the limit on refusals is not what is tested. */
const nextAddress = () => `127.0.0.${10 + (address++ % 200)}`

/** Every route, with a body that would be right. */
const routes = (): [method: string, path: string, json?: unknown][] => [
  ['GET', '/'],
  ['GET', '/index.html'],
  ['GET', '/assets/x.js'],
  ['GET', '/api/status'],
  ['GET', '/api/runs'],
  ['GET', `/api/runs/${run()}/bytes`],
  ['GET', `/api/runs/${run()}/result`],
  ['GET', `/api/runs/${run()}/report`],
  ['GET', `/api/runs/${run()}/export?to=csv`],
  ['POST', `/api/runs/${run()}/records`, { type: 'title', text: 'mine' }],
  ['POST', '/api/recording', { on: false }],
  ['POST', '/api/marks', { label: 'x' }],
  ['POST', '/api/notes', { text: 'x' }],
  ['POST', '/api/compare', { a: run(), b: run() }],
  ['POST', '/api/advise', { runs: [run()], car: 'test-car' }],
  ['GET', '/api/cars'],
  ['PUT', '/api/cars/test-car', { id: 'test-car', name: 'taken' }],
  ['GET', '/api/cars/test-car/parts'],
  ['PUT', '/api/cars/test-car/parts', { fitted: {}, box: {} }],
  ['GET', '/api/cars/test-car/swaps'],
  ['POST', '/api/cars/test-car/swaps', { part: 'main_jet', to: { label: '70' } }],
  ['DELETE', '/api/cars/test-car/swaps/abc'],
  ['GET', '/api/cars/test-car/tanks'],
  ['POST', '/api/cars/test-car/tanks', { distance_km: 1, fuel_l: 1, full: true }],
  ['DELETE', '/api/cars/test-car/tanks/abc'],
  ['POST', '/api/car', { car: 'other' }],
  ['POST', '/api/air', { temperature_C: 1, pressure_kPa: 100 }],
  ['GET', '/api/clients'],
  ['PATCH', '/api/clients/0123456789abcdef', { name: 'x' }],
  ['DELETE', '/api/clients/0123456789abcdef'],
  ['POST', '/api/pairing', {}],
]

describe('a device that is not paired', () => {
  it('is refused on every route, with no data in the answer', async () => {
    for (const [method, path, json] of routes()) {
      const answer = await send(running.port, {
        method,
        path,
        json,
        host: lanHost(),
        from: nextAddress(),
      })
      expect([path, answer.status]).toEqual([path, 401])
      expect(answer.json).toMatchObject({ code: 'not_paired', status: 401 })
      expect(answer.text).not.toMatch(/test-car|untouched|capture/)
    }
  })

  it('is refused on the live stream, also with a forged cookie', async () => {
    for (const cookie of [
      undefined,
      'floatbowl=0123456789abcdef.',
      `floatbowl=0123456789abcdef.${'A'.repeat(43)}`,
    ]) {
      const live = await openLive(running.port, { host: lanHost(), cookie })
      expect(live.status).toBe(401)
      await until(() => live.closed(), 'closed')
      expect(live.text()).not.toMatch(/hello|FBLK/)
    }
  })

  it('that keeps trying is told to wait', async () => {
    const statuses = new Set<number>()
    for (let i = 0; i < 80; i++) {
      statuses.add(
        (await send(running.port, { path: '/api/runs', host: lanHost(), from: '127.0.0.20' })).status,
      )
    }
    expect([...statuses].sort()).toEqual([401, 429])
  })
})

describe('another site in the browser of the same machine', () => {
  it('is refused by its name, though it resolves to this machine', async () => {
    for (const host of [
      'evil.example',
      `evil.example:${running.port}`,
      '127.0.0.1.evil.example',
      '',
      'a b',
      '[::1',
    ]) {
      for (const [method, path, json] of routes()) {
        const { status, text } = await send(running.port, { method, path, json, host, from: nextAddress() })
        expect([host, path, status >= 400 && status < 404]).toEqual([host, path, true])
        expect(text).not.toMatch(/test-car|untouched/)
      }
      const live = await openLive(running.port, { host })
      expect(live.status).toBeGreaterThanOrEqual(400)
    }
  }, 60_000)

  it('is refused by its origin on every route and on the live stream', async () => {
    const foreign = [
      'http://evil.example',
      'null',
      `http://127.0.0.1:${running.port + 1}`,
      `https://127.0.0.1:${running.port}`,
    ]
    for (const origin of foreign) {
      for (const [method, path, json] of routes()) {
        const from = nextAddress()
        const { status } = await send(running.port, { method, path, json, headers: { origin }, from })
        expect([origin, path, status]).toEqual([origin, path, 403])
      }
      expect((await openLive(running.port, { origin })).status).toBe(403)
    }
    const crossSite = await send(running.port, {
      path: '/api/runs',
      headers: { 'sec-fetch-site': 'cross-site' },
    })
    expect(crossSite.status).toBe(403)
  }, 60_000)
})

describe('a stolen pairing link', () => {
  it('is worth nothing once it was used', async () => {
    const { token } = running.server.context.pairing.offer('controller')
    const use = () =>
      send(running.port, { method: 'POST', path: '/api/pair', host: lanHost(), json: { token } })
    expect((await use()).status).toBe(200)
    expect((await use()).status).toBe(403)
  })
})

describe('a path that leads outside', () => {
  it('finds nothing in any parameter', async () => {
    await writeFile(join(running.dataDir, 'secret.capture'), 'floatbowl-capture 1\ntreasure\n')
    const attempts = [
      '..',
      '%2e%2e',
      '..%2f..',
      '%2e%2e%2f',
      '..%5c',
      '%00',
      '.',
      '%252e%252e',
      'a%2f..%2f..',
      '/etc/passwd',
      '%c0%ae%c0%ae',
    ]
    for (const part of attempts) {
      for (const path of [
        `/api/runs/${part}/2024-01-01/x.capture/bytes`,
        `/api/runs/test-car/${part}/secret.capture/bytes`,
        `/api/runs/test-car/2024-01-01/${part}/bytes`,
        `/api/runs/test-car/2024-01-01/${part}%2fsecret.capture/bytes`,
        `/api/cars/${part}/parts`,
        `/api/cars/${part}/swaps`,
        `/${part}/${part}/package.json`,
        `/assets/${part}/${part}/${part}/etc/passwd`,
        `/api/runs/test-car/2024-01-01/x.capture/export?to=${part}`,
      ]) {
        const { status, text } = await send(running.port, { path })
        expect([path, status >= 400 && status < 500]).toEqual([path, true])
        expect(text).not.toMatch(/treasure|root:|"name": "floatbowl"/)
      }
      const put = await send(running.port, { method: 'PUT', path: `/api/cars/${part}`, json: { id: part } })
      expect([part, put.status >= 400 && put.status < 500]).toEqual([part, true])
    }
  })

  it('is not followed through a link in the data directory', async () => {
    const session = join(running.dataDir, 'test-car', '2024-01-01')
    await mkdir(session, { recursive: true })
    await symlink('/etc/passwd', join(session, 'x.capture'))
    const { status, text } = await send(running.port, {
      path: '/api/runs/test-car/2024-01-01/x.capture/bytes',
    })
    expect(status).toBe(404)
    expect(text).not.toContain('root:')
    expect((await send(running.port, { path: '/api/runs' })).text).not.toContain('2024-01-01')
  })
})

describe('a body', () => {
  it('that is too large, too deep, no JSON, or of another type is refused', async () => {
    const post = (body: string, headers = {}) =>
      send(running.port, { method: 'POST', path: '/api/marks', body, headers })
    expect((await post('x'.repeat(300_000))).status).toBe(413)
    expect((await post('['.repeat(100_000))).status).toBe(400)
    expect((await post(`{"label":${'{"a":'.repeat(50)}1${'}'.repeat(50)}}`)).status).toBe(400)
    expect((await post('{"label":')).status).toBe(400)
    expect((await post('{"label":"x","more":1}')).status).toBe(400)
    expect((await post('label=x', { 'content-type': 'application/x-www-form-urlencoded' })).status).toBe(415)
    const polluted = await post('{"label":"x","__proto__":{"polluted":1}}')
    expect(polluted.status).toBe(200)
    expect(({} as Record<string, unknown>)['polluted']).toBeUndefined()
  })

  it('that comes a byte at a time is cut off', async () => {
    const socket = connect(running.port, '127.0.0.1')
    let answer = ''
    let closed = false
    socket.on('data', (part) => {
      answer += part.toString('latin1')
    })
    socket.on('error', () => {})
    socket.on('close', () => {
      closed = true
    })
    socket.write(
      `POST /api/marks HTTP/1.1\r\nHost: 127.0.0.1:${running.port}\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n`,
    )
    await until(() => {
      if (!closed) socket.write(' ')
      return closed
    }, 'the slow body is cut off')
    expect(answer).toMatch(/^HTTP\/1\.1 408/)
  })
})

describe('a thousand half-open sockets', () => {
  it('neither keep a new page out nor stay', async () => {
    const sockets: Socket[] = []
    for (let i = 0; i < 1000; i++) {
      const socket = connect({ port: running.port, host: '127.0.0.1', localAddress: '127.0.0.2' })
      socket.on('error', () => {})
      socket.resume()
      socket.on('connect', () => socket.write('GET /api/status HTTP/1.1\r\nHost:'))
      sockets.push(socket)
    }
    await until(() => sockets.every((socket) => !socket.connecting), 'all were tried')
    await feedAndCheck()
    const another = new TestPage(running.port)
    await until(() => another.sampleCount === fed, 'a new page gets in')
    another.close()
    await until(
      () => sockets.every((socket) => socket.destroyed || socket.readyState !== 'open'),
      'they are gone',
    )
    for (const socket of sockets) socket.destroy()
  }, 60_000)
})

describe('malformed frames on the live stream', () => {
  it('cut off their sender and nobody else', async () => {
    const text = (payload: Buffer, opcode = 0x81) =>
      Buffer.concat([Buffer.from([opcode, 0x80 | payload.length, 0, 0, 0, 0]), payload])
    const huge = Buffer.concat([
      Buffer.from([0x81, 0xff, 0x7f, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0, 0, 0, 0]),
    ])
    const unmasked = Buffer.from([0x81, 0x02, 0x68, 0x69])
    const reserved = Buffer.from([0xf1, 0x80, 0, 0, 0, 0])
    const badUtf8 = text(Buffer.from([0xc3, 0x28]))
    const longControl = Buffer.concat([Buffer.from([0x89, 0xfe, 0x00, 0x80, 0, 0, 0, 0]), Buffer.alloc(128)])
    for (const bytes of [huge, unmasked, reserved, badUtf8, longControl]) {
      const live = await openLive(running.port)
      expect(live.status).toBe(101)
      live.write(bytes)
      await until(() => live.closed(), 'cut off')
    }
    const noisy = await openLive(running.port)
    for (let i = 0; i < 12; i++) noisy.write(text(Buffer.from('{"type":"stop everything"}'.slice(0, 100))))
    await until(() => noisy.closed(), 'cut off after ten refused messages')
  })
})
