import { appendFile, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { checkRun } from '../../bridge/checkRun.ts'
import type { CaptureFile } from '../../bridge/record/captureWriter.ts'
import { openCaptureFile } from '../../bridge/record/captureWriter.ts'
import type { RunSummary } from '../../core/contract/api.ts'
import {
  boardSetup,
  createHandSource,
  findCaptures,
  type HarnessOptions,
  readCapture,
  startBridge,
  TestPage,
  until,
} from '../support/bridgeHarness.ts'
import { createTestBoard } from '../support/testBoard.ts'

const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const clean of cleanups.splice(0).reverse()) await clean()
})

async function begin(options: HarnessOptions = {}) {
  const source = createHandSource()
  const running = await startBridge({ sources: [boardSetup(source)], ...options })
  cleanups.push(() => running.stop())
  return { ...running, source, board: createTestBoard() }
}

const post = (url: string, body: unknown) =>
  fetch(url, { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(body) })

describe('a recording', () => {
  it('holds every line byte for byte, with those from before the button', async () => {
    const { source, board, url, bridge, dataDir } = await begin()
    const before = board.greeting() + board.samples(30)
    const torn = 'S,99,1,2*\\\x01\xffnoise\r'
    source.feed(before)
    expect((await post(url('/api/recording'), { on: true })).status).toBe(200)
    const after = board.samples(30)
    source.feed(`${after}${torn}\n`)
    await post(url('/api/marks'), { label: 'here' })
    await post(url('/api/notes'), { text: 'stumble on the hill' })
    const stopped = (await (await post(url('/api/recording'), { on: false })).json()) as { run: string }
    expect(stopped).toMatchObject({ on: false, run: expect.stringMatching(/^test-car\/.*\.capture$/) })
    const text = await readCapture(join(dataDir, stopped.run))
    const lines = text.trimEnd().split('\n')
    expect(lines[0]).toBe('floatbowl-capture 1')
    expect(JSON.parse(lines[1].split(' = ')[1])).toMatchObject({ type: 'start', car: 'test-car' })
    const board0 = lines.filter((line) => / <0 /.test(line)).map((line) => line.replace(/^\S+ <0 /, ''))
    expect(board0).toEqual([
      ...`${before}${after}`.trimEnd().split('\n'),
      'S,99,1,2*\\\\\\x01\\xFFnoise\\x0D',
    ])
    const preRollTimes = lines
      .filter((line) => / <0 /.test(line))
      .slice(0, 30)
      .map((line) => Number(line.split(' ')[0]))
    expect(Math.max(...preRollTimes)).toBeLessThanOrEqual(0)
    expect(text).toMatch(/ = \{"type":"mark","label":"here"\}\n/)
    expect(text).toMatch(/ = \{"type":"note","text":"stumble on the hill"\}\n/)
    expect(text).toMatch(/ = \{"type":"stop","reason":"stopped by hand"\}\n$/)
    expect(await checkRun(join(dataDir, stopped.run))).toMatchObject({ samples: 60, torn_end: false })
    expect(bridge.recorder.isOn).toBe(false)
  })

  it('opens with the car, what is fitted and the air of the day', async () => {
    const { url, dataDir } = await begin()
    const put = (path: string, body: unknown) =>
      fetch(url(path), {
        method: 'PUT',
        headers: { 'content-type': 'application/json' },
        body: JSON.stringify(body),
      })
    await put('/api/cars/test-car', { id: 'test-car', name: 'Test' })
    await put('/api/cars/test-car/parts', { fitted: { main_jet: { label: '70', bore_mm: 1.8 } }, box: {} })
    await post(url('/api/air'), { temperature_C: 12, pressure_kPa: 99.5, humidity_pct: 60 })
    await post(url('/api/recording'), { on: true })
    const { run } = (await (await post(url('/api/recording'), { on: false })).json()) as { run: string }
    const text = await readCapture(join(dataDir, run))
    expect(text).toContain('{"type":"car","car":{"id":"test-car","name":"Test"}}')
    expect(text).toContain('{"type":"fitted","fitted":{"main_jet":{"label":"70","bore_mm":1.8}}}')
    expect(text).toContain('{"type":"air","temperature_C":12,"pressure_kPa":99.5,"humidity_pct":60}')
  })

  it('cannot be started twice or stopped when it is off', async () => {
    const { url } = await begin()
    expect((await post(url('/api/recording'), { on: false })).status).toBe(409)
    await post(url('/api/recording'), { on: true })
    const again = await post(url('/api/recording'), { on: true })
    expect(again.status).toBe(409)
    expect(await again.json()).toMatchObject({ code: 'already_recording', status: 409 })
  })

  it('takes edits after the drive at its end, and a torn end before them costs one line', async () => {
    const { url, source, board, dataDir } = await begin()
    await post(url('/api/recording'), { on: true })
    source.feed(board.greeting() + board.samples(20))
    const { run } = (await (await post(url('/api/recording'), { on: false })).json()) as { run: string }
    const path = join(dataDir, run)
    await appendFile(path, '1.5 <0 S,20,2000')
    const before = await readFile(path)
    const answer = await post(url(`/api/runs/${run}/records`), { type: 'title', text: 'with the 70 jets' })
    expect(answer.status).toBe(200)
    const after = await readFile(path)
    expect(after.subarray(0, before.length).equals(before)).toBe(true)
    const list = (await (await fetch(url('/api/runs'))).json()) as RunSummary[]
    expect(list[0]).toMatchObject({ id: run, title: 'with the 70 jets', recording: false })
    const report = await checkRun(path)
    expect(report).toMatchObject({ samples: 20, torn_end: false })
    expect(report.bad_checksum + report.unreadable).toBe(1)
  })

  it('refuses a start or stop record from outside', async () => {
    const { url } = await begin()
    await post(url('/api/recording'), { on: true })
    const { run } = (await (await post(url('/api/recording'), { on: false })).json()) as { run: string }
    const answer = await post(url(`/api/runs/${run}/records`), { type: 'stop' })
    expect(answer.status).toBe(400)
    expect(answer.headers.get('content-type')).toContain('application/problem+json')
  })
})

describe('a recording on a failing disk', () => {
  /** A file on a disk that is full after so many bytes; what was written before stays. */
  const fullAfter =
    (bytes: number) =>
    async (path: string, beginning: string): Promise<CaptureFile> => {
      const file = await openCaptureFile(path, beginning)
      let left = bytes
      return {
        ...file,
        async append(chunk) {
          if (chunk.length > left) {
            await file.append(chunk.subarray(0, left))
            left = 0
            throw Object.assign(new Error('no space left on device'), { code: 'ENOSPC' })
          }
          left -= chunk.length
          await file.append(chunk)
        },
      }
    }

  it('stops with a message, the live view goes on and the file is readable', async () => {
    const { url, source, board, bridge, dataDir, port } = await begin({ openFile: fullAfter(2000) })
    const page = new TestPage(port)
    cleanups.push(() => page.close())
    source.feed(board.greeting())
    await post(url('/api/recording'), { on: true })
    source.feed(board.samples(200))
    await until(() => !bridge.recorder.isOn, 'the recorder gives up')
    expect(bridge.recorder.status.problem).toMatch(/disk full.*free some space/)
    await until(
      () => page.of('recording').some(({ status }) => /disk full/.test(status.problem ?? '')),
      'the page is told',
    )
    source.feed(board.samples(50))
    await until(() => page.sampleCount === 250, 'the live view goes on')
    const [path] = await findCaptures(dataDir)
    const report = await checkRun(path)
    expect(report.torn_end).toBe(true)
    expect(report.samples).toBeGreaterThan(10)
    expect(report.samples).toBeLessThan(200)
  })

  it('that cannot even begin answers with the reason', async () => {
    const { url } = await begin({
      openFile: () => Promise.reject(Object.assign(new Error('full'), { code: 'ENOSPC' })),
    })
    const answer = await post(url('/api/recording'), { on: true })
    expect(answer.status).toBe(507)
    expect(await answer.json()).toMatchObject({ code: 'disk_full' })
  })
})

describe('automatic recording', () => {
  it('starts with the first firing, has the cranking in it, and ends after the engine is off', async () => {
    const source = createHandSource()
    const rpm = { now: 200 }
    const board = createTestBoard({
      channels: [
        ['lambda', '1'],
        ['engine_speed', 'rpm'],
      ],
      readingOf: (channel) => (channel === 'engine_speed' ? rpm.now : 0.9),
    })
    const running = await startBridge({
      sources: [boardSetup(source)],
      autoRecord: { firedS: 0.3, afterOffS: 1 },
    })
    cleanups.push(() => running.stop())
    source.feed(board.greeting() + board.samples(100))
    expect(running.bridge.recorder.isOn).toBe(false)
    rpm.now = 900
    await until(() => {
      source.feed(board.samples(10))
      return running.bridge.recorder.isOn
    }, 'it starts by itself')
    expect(running.bridge.recorder.status.automatic).toBe(true)
    rpm.now = 0
    await until(() => {
      source.feed(board.samples(10))
      return !running.bridge.recorder.isOn
    }, 'it ends by itself')
    const [path] = await findCaptures(running.dataDir)
    const text = await readCapture(path)
    expect(text).toMatch(/-\d+\.\d{6} <0 S,/)
    expect(text).toContain('the engine has been off for a minute')
  })
})
