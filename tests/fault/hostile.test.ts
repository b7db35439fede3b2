import { mkdir, symlink, writeFile } from 'node:fs/promises'
import { connect, type Socket } from 'node:net'
import { hostname } from 'node:os'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
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

/** Bodies that would be right: a refusal must not come from a mere mistake in the body. */
const rightBodies = (): Record<string, unknown> => ({
  'POST /api/runs/:car/:session/:file/records': { type: 'title', text: 'mine' },
  'POST /api/recording': { on: false },
  'POST /api/marks': { label: 'x' },
  'POST /api/notes': { text: 'x' },
  'POST /api/compare': { a: run(), b: run() },
  'POST /api/advise': { runs: [run()], car: 'test-car' },
  'PUT /api/cars/:car': { id: 'test-car', name: 'taken' },
  'PUT /api/cars/:car/parts': { fitted: {}, box: {} },
  'POST /api/cars/:car/swaps': { part: 'main_jet', to: { label: '70' } },
  'PATCH /api/cars/:car/swaps/:id': { notes: 'mine' },
  'POST /api/cars/:car/tanks': { distance_km: 1, fuel_l: 1, full: true },
  'POST /api/car': { car: 'other' },
  'POST /api/air': { temperature_C: 1, pressure_kPa: 100 },
  'PATCH /api/clients/:id': { name: 'x' },
  'POST /api/pairing': {},
})

/** Values of the parameters in an address that name what is really there. */
const rightParameters = (): Record<string, string> => {
  const [car, session, file] = run().split('/')
  return { car, session, file, id: '0123456789abcdef', name: 'bench', source: '0', ask: 'abcdef0123456789' }
}

/** An address with its parameters filled in; `wrong` takes the place of one of them. */
function fill(url: string, wrong: Record<string, string> = {}): string {
  const values = { ...rightParameters(), ...wrong }
  return url.replace(/:(\w+)/g, (_all, name: string) => {
    if (!(name in values)) throw new Error(`no value for the parameter ${name} of ${url}: add it above`)
    return values[name]
  })
}

/** The one route that a stranger may ask: it is how a device is let in. */
const openRoute = 'POST /api/pair'

/** Every route that the server has, from the server itself: a new one cannot be forgotten. */
const routes = (): [method: string, path: string, json?: unknown][] => {
  const bodies = rightBodies()
  const served = running.server.routes
    .filter(({ method, url }) => `${method} ${url}` !== openRoute && method !== 'HEAD')
    .map(({ method, url }): [string, string, unknown?] => {
      const json = bodies[`${method} ${url}`] ?? (method === 'GET' || method === 'DELETE' ? undefined : {})
      return [method, fill(url), json]
    })
  for (const known of Object.keys(bodies))
    expect(running.server.routes.map(({ method, url }) => `${method} ${url}`)).toContain(known)
  return [...served, ['GET', '/assets/x.js'], ['GET', '/nothing/here']]
}

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

describe('a device that may only look', () => {
  it('changes nothing on any route', async () => {
    const { token } = running.server.context.pairing.offer('viewer')
    const paired = await send(running.port, {
      method: 'POST',
      path: '/api/pair',
      host: lanHost(),
      json: { token },
    })
    const cookie = String(paired.headers['set-cookie']).split(';')[0]
    // Questions whose answer is worked out from their body.
    const questions = ['/api/compare', '/api/advise']
    for (const [method, path, json] of routes()) {
      if (method === 'GET' || questions.includes(path)) continue
      const { status } = await send(running.port, { method, path, json, host: lanHost(), cookie })
      expect([method, path, status]).toEqual([method, path, 403])
    }
  })
})

describe('a stolen pairing link', () => {
  it('or code is worth nothing once one of them was used', async () => {
    const { code, token } = running.server.context.pairing.offer('controller')
    const use = (json: object) =>
      send(running.port, { method: 'POST', path: '/api/pair', host: lanHost(), json })
    expect((await use({ code })).status).toBe(200)
    expect((await use({ code })).status).toBe(403)
    expect((await use({ token })).status).toBe(403)
  })

  it('is worth nothing once it was used', async () => {
    const { token } = running.server.context.pairing.offer('controller')
    const use = () =>
      send(running.port, { method: 'POST', path: '/api/pair', host: lanHost(), json: { token } })
    expect((await use()).status).toBe(200)
    expect((await use()).status).toBe(403)
  })
})

/** Text of files that lie outside what may be asked for. */
const leaks = /treasure|root:|"name": "floatbowl"/

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
    const withParameters = running.server.routes.filter(({ url }) => url.includes(':'))
    expect(withParameters.length).toBeGreaterThan(10)
    for (const part of attempts) {
      for (const { method, url } of withParameters) {
        if (method === 'HEAD') continue
        for (const [, name] of url.matchAll(/:(\w+)/g)) {
          const path = fill(url, { [name]: part })
          const json =
            method === 'GET' || method === 'DELETE' ? undefined : (rightBodies()[`${method} ${url}`] ?? {})
          const { status, text } = await send(running.port, { method, path, json })
          expect([method, path, status >= 400 && status < 500]).toEqual([method, path, true])
          expect(text).not.toMatch(leaks)
        }
      }
      for (const path of [
        `/api/runs/test-car/2024-01-01/${part}%2fsecret.capture/bytes`,
        `/api/runs/test-car/2024-01-01/x.capture/export?to=${part}`,
        `/${part}/${part}/package.json`,
        `/assets/${part}/${part}/${part}/etc/passwd`,
      ]) {
        const { status, text } = await send(running.port, { path })
        expect([path, status >= 400 && status < 500]).toEqual([path, true])
        expect(text).not.toMatch(leaks)
      }
    }
  }, 60_000)

  it('finds nothing in any body that names a run, a car or a map', async () => {
    await writeFile(join(running.dataDir, 'secret.capture'), 'floatbowl-capture 1\ntreasure\n')
    for (const part of ['../secret.capture', 'test-car/../secret.capture', '/etc/passwd', '..', 'a\u0000b']) {
      for (const [method, path, json] of [
        ['POST', '/api/compare', { a: part, b: run() }],
        ['POST', '/api/compare', { a: run(), b: part }],
        ['POST', '/api/advise', { runs: [part], car: 'test-car' }],
        ['POST', '/api/advise', { runs: [run()], car: part }],
        ['POST', '/api/car', { car: part }],
        ['POST', '/api/recording', { on: true, car: part }],
        ['PUT', '/api/cars/test-car', { id: part }],
        ['PUT', '/api/sources/0/map', { map: part }],
        ['PUT', '/api/sources/0/map', { name: part }],
      ] as const) {
        const { status, text } = await send(running.port, { method, path, json })
        expect([path, json, status >= 400 && status < 500]).toEqual([path, json, true])
        expect(text).not.toMatch(leaks)
      }
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

  it('that is too large or a nest of brackets is refused on every route that takes one', async () => {
    for (const [method, path] of routes()) {
      if (method === 'GET' || method === 'DELETE') continue
      const large = await send(running.port, { method, path, body: 'x'.repeat(300_000) })
      expect([method, path, large.status]).toEqual([method, path, 413])
      const deep = await send(running.port, {
        method,
        path,
        body: `${'['.repeat(50_000)}${']'.repeat(50_000)}`,
      })
      expect([method, path, deep.status]).toEqual([method, path, 400])
    }
  }, 60_000)

  it('that is packed, or has two lengths, is refused', async () => {
    const bomb = gzipSync(Buffer.alloc(50_000_000, ' '))
    const packed = await send(running.port, {
      method: 'POST',
      path: '/api/marks',
      body: bomb,
      headers: { 'content-encoding': 'gzip' },
    })
    expect(packed.status).toBeGreaterThanOrEqual(400)
    expect(packed.status).toBeLessThan(500)
    const socket = connect(running.port, '127.0.0.1')
    let answer = ''
    socket.on('data', (part) => {
      answer += part.toString('latin1')
    })
    socket.on('error', () => {})
    socket.write(
      `POST /api/marks HTTP/1.1\r\nHost: 127.0.0.1:${running.port}\r\nContent-Type: application/json\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /api/runs HTTP/1.1\r\nHost: x\r\n\r\n`,
    )
    await until(() => answer.includes('\r\n\r\n'), 'an answer')
    expect(answer).toMatch(/^HTTP\/1\.1 400/)
    expect(answer.match(/HTTP\/1\.1/g)).toHaveLength(1)
    socket.destroy()
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
  it.each([
    ['another address', '127.0.0.2'],
    ["the new page's own address", '127.0.0.1'],
  ])(
    'of %s neither keep a new page out nor stay',
    async (_whose, localAddress) => {
      const sockets: Socket[] = []
      for (let i = 0; i < 1000; i++) {
        const socket = connect({ port: running.port, host: '127.0.0.1', localAddress })
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
    },
    60_000,
  )
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
    await Promise.all(
      [huge, unmasked, reserved, badUtf8, longControl].map(async (bytes) => {
        const live = await openLive(running.port)
        expect(live.status).toBe(101)
        live.write(bytes)
        await until(() => live.closed(), 'cut off')
      }),
    )
    await Promise.all(
      ['['.repeat(120), '{"type":"stop everything"}'].map(async (words) => {
        const noisy = await openLive(running.port)
        for (let i = 0; i < 12; i++) noisy.write(text(Buffer.from(words)))
        await until(() => noisy.closed(), 'cut off after ten refused messages')
      }),
    )
  })
})
