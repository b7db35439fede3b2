import { copyFile, mkdir, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { gunzipSync, gzipSync } from 'node:zlib'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { RunSummary, Status, Swap, Tank } from '../../core/contract/api.ts'
import { boardSetup, createHandSource, type RunningBridge, startBridge } from '../support/bridgeHarness.ts'
import { send } from '../support/rawRequest.ts'
import { createTestBoard } from '../support/testBoard.ts'

let running: RunningBridge
let run: string

const call = (method: string, path: string, json?: unknown, headers?: Record<string, string>) =>
  send(running.port, { method, path, json, headers })

beforeEach(async () => {
  const source = createHandSource()
  const board = createTestBoard()
  running = await startBridge({ sources: [boardSetup(source)] })
  await call('POST', '/api/recording', { on: true })
  source.feed(board.greeting() + board.samples(200))
  run = ((await call('POST', '/api/recording', { on: false })).json as { run: string }).run
})
afterEach(() => running.stop())

describe('the status', () => {
  it('tells source, recording, role and free space', async () => {
    const status = (await call('GET', '/api/status')).json as Status
    expect(status).toMatchObject({ car: 'test-car', role: 'controller', loopback: true, lan: false })
    expect(status.sources[0]).toMatchObject({ source: 0, state: 'connected' })
    expect(status.recording).toMatchObject({ on: false, run })
    expect(status.diskFreeBytes).toBeGreaterThan(0)
  })
})

describe('an address', () => {
  it('says which methods it has when it is asked in another way', async () => {
    const answers = await Promise.all([
      call('PATCH', '/api/recording', { on: true }),
      call('DELETE', `/api/runs/${run}/bytes`),
      call('POST', '/', {}),
      call('DELETE', '/api/runs/nothing/here'),
    ])
    expect(answers.map(({ status, headers }) => [status, headers['allow']])).toEqual([
      [405, 'POST'],
      [405, 'GET, HEAD'],
      [405, 'GET, HEAD'],
      [404, undefined],
    ])
    expect(answers[0].json).toMatchObject({ status: 405, code: 'wrong_method' })
  })
})

describe("a run's bytes", () => {
  const path = () => `/api/runs/${run}/bytes`
  const whole = () => readFile(join(running.dataDir, run), 'latin1')

  it('come whole, in part, and compressed', async () => {
    const bytes = await whole()
    expect((await call('GET', path())).text).toBe(bytes)
    const part = await call('GET', path(), undefined, { range: 'bytes=10-18' })
    expect([part.status, part.text]).toEqual([206, bytes.slice(10, 19)])
    expect(part.headers['content-range']).toBe(`bytes 10-18/${bytes.length}`)
    const tail = await call('GET', path(), undefined, { range: 'bytes=-5' })
    expect(tail.text).toBe(bytes.slice(-5))
    expect((await call('GET', path(), undefined, { range: `bytes=${bytes.length}-` })).status).toBe(416)
    const packed = await fetch(running.url(path()), { headers: { 'accept-encoding': 'gzip' } })
    expect(packed.headers.get('content-encoding')).toBe('gzip')
    expect(await packed.text()).toBe(bytes)
  })

  it('are not sent again when nothing has changed', async () => {
    const first = await call('GET', path())
    const again = await call('GET', path(), undefined, { 'if-none-match': String(first.headers['etag']) })
    expect([again.status, again.text]).toEqual([304, ''])
  })

  it('of a packed run come whole, whatever its name, and as far as they go when it breaks off', async () => {
    const bytes = await readFile(join(running.dataDir, run))
    const named = (name: string) => run.replace('.capture', `${name}.capture`)
    await writeFile(join(running.dataDir, named('p')), gzipSync(bytes))
    await writeFile(join(running.dataDir, `${named('q')}.gz`), bytes)
    await writeFile(join(running.dataDir, `${named('r')}.gz`), gzipSync(bytes).subarray(0, -20))
    for (const encoding of ['identity', 'gzip']) {
      const headers = { 'accept-encoding': encoding }
      for (const id of [named('p'), `${named('q')}.gz`]) {
        const answer = await fetch(running.url(`/api/runs/${id}/bytes`), { headers })
        expect(await answer.text()).toBe(bytes.toString('latin1'))
      }
      const cut = await (await fetch(running.url(`/api/runs/${named('r')}.gz/bytes`), { headers })).text()
      expect(cut.length).toBeGreaterThan(100)
      expect(bytes.toString('latin1').startsWith(cut)).toBe(true)
    }
    const edit = await call('POST', `/api/runs/${named('p')}/records`, { type: 'title', text: 'x' })
    expect(edit.text).toContain('unpack')
    for (const id of [named('p'), `${named('q')}.gz`, `${named('r')}.gz`]) await rm(join(running.dataDir, id))
  })

  it('of a compressed run come unpacked or as they are', async () => {
    const bytes = await readFile(join(running.dataDir, run))
    const packedRun = run.replace('.capture', 'x.capture.gz')
    await writeFile(join(running.dataDir, packedRun), gzipSync(bytes))
    expect((await call('GET', `/api/runs/${packedRun}/bytes`)).text).toBe(bytes.toString('latin1'))
    const asked = await fetch(running.url(`/api/runs/${packedRun}/bytes`), {
      headers: { 'accept-encoding': 'gzip' },
    })
    expect(await asked.text()).toBe(bytes.toString('latin1'))
    expect(gunzipSync(await readFile(join(running.dataDir, packedRun))).equals(bytes)).toBe(true)
    const list = (await call('GET', '/api/runs')).json as RunSummary[]
    expect(list.find(({ id }) => id === packedRun)?.seconds).toBeGreaterThanOrEqual(0)
  })
})

describe('the list of runs', () => {
  it('names what is no capture, and does not hide the others', async () => {
    const directory = join(running.dataDir, 'test-car', '2020-01-01')
    await mkdir(directory, { recursive: true })
    await writeFile(join(directory, 'photo.capture'), Buffer.from([0xff, 0xd8, 0xff, 0xe0, 1, 2, 3]))
    await writeFile(join(directory, 'newer.capture'), 'floatbowl-capture 2\n0.000000 ? x\n')
    await copyFile(join(running.dataDir, run), join(directory, 'good.capture'))
    const list = (await call('GET', '/api/runs')).json as RunSummary[]
    expect(list.length).toBe(4)
    expect(list.find(({ id }) => id.endsWith('newer.capture'))?.problem).toContain('update floatbowl')
    expect(list.find(({ id }) => id.endsWith('photo.capture'))?.problem).toBe('this is no capture file')
    expect(list.find(({ id }) => id.endsWith('good.capture'))?.problem).toBeUndefined()
  })
})

describe('what belongs to a car', () => {
  it('is kept: profile, parts, swaps that can be undone, tanks', async () => {
    expect((await call('PUT', '/api/cars/test-car', { id: 'test-car', name: 'Blue one' })).status).toBe(200)
    expect((await call('GET', '/api/cars')).json).toEqual([{ id: 'test-car', name: 'Blue one' }])
    const parts = {
      fitted: { main_jet: { label: '70', bore_mm: 1.8 } },
      box: { main_jet: [{ label: '72', bore_mm: 1.88 }] },
    }
    await call('PUT', '/api/cars/test-car/parts', parts)
    const swap = (
      await call('POST', '/api/cars/test-car/swaps', { part: 'main_jet', to: parts.box.main_jet[0] })
    ).json as Swap
    expect(swap).toMatchObject({ from: { label: '70' }, to: { label: '72' } })
    expect((await call('GET', '/api/cars/test-car/parts')).json).toMatchObject({
      fitted: { main_jet: { label: '72' } },
    })
    expect((await call('DELETE', `/api/cars/test-car/swaps/${swap.id}`)).status).toBe(204)
    expect((await call('GET', '/api/cars/test-car/parts')).json).toMatchObject({
      fitted: { main_jet: { label: '70' } },
    })
    const tank = (
      await call('POST', '/api/cars/test-car/tanks', { distance_km: 412, fuel_l: 51.2, full: true })
    ).json as Tank
    expect((await call('GET', '/api/cars/test-car/tanks')).json).toEqual([tank])
    expect((await call('DELETE', `/api/cars/test-car/tanks/${tank.id}`)).status).toBe(204)
    expect((await call('DELETE', `/api/cars/test-car/tanks/${tank.id}`)).status).toBe(404)
  })

  it('survives many changes at once, each of them', async () => {
    const tanks = Array.from({ length: 20 }, (_, i) => ({ distance_km: i, fuel_l: 1, full: false }))
    await Promise.all(tanks.map((tank) => call('POST', '/api/cars/test-car/tanks', tank)))
    const list = (await call('GET', '/api/cars/test-car/tanks')).json as Tank[]
    expect(list.map(({ distance_km }) => distance_km).sort((a, b) => a - b)).toEqual(
      tanks.map(({ distance_km }) => distance_km),
    )
  })

  it('is not taken with a limit that no engine has, or a name that means nothing', async () => {
    const detailOf = async (part: object) => {
      const answer = await call('PUT', '/api/cars/test-car', { id: 'test-car', ...part })
      return answer.status === 400 ? (answer.json as { detail: string }).detail : `taken: ${answer.status}`
    }
    expect(await detailOf({ limits: { lean_under_load: 9.2 } })).toMatch(
      /limits\.lean_under_load: expected 0\.7 to 1\.3, found 9\.2/,
    )
    expect(await detailOf({ limits: { lean_under_lod: 0.9 } })).toMatch(
      /limits\.lean_under_lod: unknown; there are lean/,
    )
    expect(await detailOf({ state_limits: { warm_c: 55 } })).toMatch(/state_limits\.warm_c: unknown/)
    expect(await detailOf({ targets: { powr: { lambda: 0.87, rich: 0.03, lean: 0.02 } } })).toMatch(
      /unknown: powr/,
    )
    expect(await detailOf({ limits: { lean_under_load: 0.95 }, state_limits: { warm_C: 55 } })).toBe(
      'taken: 200',
    )
  })

  it('that does not fit is refused with the field in words, and nothing is changed', async () => {
    await call('PUT', '/api/cars/test-car', { id: 'test-car', name: 'before' })
    const answer = await call('PUT', '/api/cars/test-car', { id: 'test-car', engine: { cylinders: 99 } })
    expect(answer.status).toBe(400)
    expect(answer.headers['content-type']).toContain('application/problem+json')
    expect(answer.json).toMatchObject({
      status: 400,
      code: 'invalid',
      detail: expect.stringContaining('engine.cylinders'),
    })
    expect((await call('GET', '/api/cars')).json).toEqual([{ id: 'test-car', name: 'before' }])
    const { size } = await stat(join(running.dataDir, 'test-car', 'car.json'))
    expect(size).toBeGreaterThan(0)
  })

  it('in a damaged file is told, and the other cars and the recorder go on', async () => {
    await writeFile(join(running.dataDir, 'test-car', 'car.json'), '{"id": "test-')
    expect((await call('GET', '/api/cars')).json).toMatchObject([
      { id: 'test-car', description: expect.stringMatching(/damaged/) },
    ])
    expect((await call('POST', '/api/recording', { on: true })).status).toBe(200)
    expect((await call('POST', '/api/recording', { on: false })).status).toBe(200)
  })
})

describe('what is worked out from a run', () => {
  it('is what the command line prints', async () => {
    const answer = await call('GET', `/api/runs/${run}/result`)
    expect(answer.status).toBe(200)
    expect(answer.json).toMatchObject({
      format: 'floatbowl-result 1',
      run: { file: run },
      integrity: { samples: 200 },
    })
    const missing = await call('GET', '/api/runs/test-car/2020-01-01/x.capture/result')
    expect([missing.status, (missing.json as { code: string }).code]).toEqual([404, 'no_run'])
  })

  it('from a file that is no capture fails in words, without the path of this machine', async () => {
    const directory = join(running.dataDir, 'test-car', '2020-01-01')
    await mkdir(directory, { recursive: true })
    await writeFile(join(directory, 'photo.capture'), 'no capture at all')
    const answer = await call('GET', '/api/runs/test-car/2020-01-01/photo.capture/result')
    expect([answer.status, (answer.json as { code: string }).code]).toEqual([422, 'work_failed'])
    expect(answer.text).not.toContain(running.dataDir)
  })

  it('is kept for the next advice as long as the run stays as it is, and says nothing of what is not under way', async () => {
    const folder = join(running.dataDir, '.analyses')
    const keptBytes = async () => {
      const names = await readdir(folder)
      expect(names).toHaveLength(1)
      return await readFile(join(folder, names[0]))
    }
    await call('PUT', '/api/cars/test-car/parts', {
      fitted: { main_jet: { label: '71', bore_mm: 1.85 } },
      box: { main_jet: [{ label: '73', bore_mm: 1.9 }] },
    })
    const advise = async (mixture: string) => {
      const answer = await call('POST', '/api/advise', { runs: [run], car: 'test-car', mixture, ask: 'one' })
      expect(answer.status).toBe(200)
      return answer.json
    }
    const first = await advise('lambda')
    const kept = await keptBytes()
    // Another question of the same run: worked out from what is kept.
    await advise('afr')
    expect((await keptBytes()).equals(kept)).toBe(true)
    expect((await call('GET', '/api/progress/one')).json).toEqual({ share: null })
    expect((await call('GET', '/api/progress/NOT%20ONE')).status).toBe(400)
    const noted = await call('POST', `/api/runs/${run}/records`, { type: 'note', text: 'stumbles here' })
    expect(noted.status).toBeLessThan(300)
    expect(await advise('lambda')).toEqual(first)
    expect((await keptBytes()).equals(kept)).toBe(false)
    // No run and no car of that name is listed.
    expect((await call('GET', '/api/runs')).text).not.toContain('.analyses')
  })
})
