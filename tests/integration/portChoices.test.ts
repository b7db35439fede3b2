import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import { boardReading, mappedReading } from '../../bridge/source/lineReading.ts'
import { createSerialSource } from '../../bridge/source/serialSource.ts'
import type { SpeedSearchOptions } from '../../bridge/source/speedSearch.ts'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import {
  createTestLogger,
  findCaptures,
  type RunningBridge,
  readCapture,
  startBridge,
  TestPage,
  until,
} from '../support/bridgeHarness.ts'
import { openDeafPty, type Pty } from '../support/pty.ts'
import { writePty } from '../support/ptyWriter.ts'
import { createTestBoard } from '../support/testBoard.ts'

const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const clean of cleanups.splice(0).reverse()) await clean()
})

function newPty(): Pty {
  const pty = openDeafPty()
  cleanups.push(() => pty.hangUp())
  return pty
}

/** Speed that the reader has set on the terminal, as the system tells it. */
function speedOf({ path }: Pty): number {
  return Number(spawnSync('stty', ['-F', path, 'speed'], { encoding: 'utf8' }).stdout)
}

async function bridgeAt(
  pty: Pty,
  more: { search?: SpeedSearchOptions; dataDir?: string } = {},
): Promise<RunningBridge> {
  const clock = createClock()
  const logger = createTestLogger()
  const source = createSerialSource({ path: pty.path, clock, logger, retry: { firstMs: 20, longestMs: 100 } })
  const running = await startBridge({
    clock,
    sources: [
      { source, ...boardReading(), port: pty.path, ...(more.search && { speedSearch: more.search }) },
    ],
    ...(more.dataDir !== undefined && { dataDir: more.dataDir }),
  })
  cleanups.push(() => running.stop())
  await until(() => running.bridge.sources[0].state !== 'lost', 'the port is open')
  return running
}

/** What a board at another speed looks like: bytes all over, none of which a terminal acts upon. */
const garbage = Uint8Array.from({ length: 80 }, (_, i) => 0x80 + ((i * 37) % 0x40))

describe('a board whose speed nobody has said', () => {
  it('is found at the one at which its lines can be read, and the port is remembered with it', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty, { search: { patienceS: 0.4, tryS: 0.3 } })
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const page = new TestPage(running.port)
    cleanups.push(() => page.close())
    await until(() => page.of('hello').length > 0, 'the page is there')
    const board = createTestBoard()
    const tried = new Set<number>()
    await until(async () => {
      const speed = speedOf(pty)
      tried.add(speed)
      await writePty(pty, speed === 57_600 ? board.greeting() + board.samples(5) : garbage)
      return running.bridge.sources[0].state === 'connected'
    }, 'the speed is found')
    expect([...tried]).toEqual([115_200, 921_600, 9600, 57_600])
    expect(running.bridge.sources[0]).toMatchObject({ baud: 57_600, state: 'connected' })
    const told = page.of('source').map(({ status }) => status.text)
    expect(told.join('; ')).toContain('trying 921600 baud (2 of 8)')
    expect(running.logger.lines).toEqual(
      expect.arrayContaining([
        expect.stringMatching(/trying 9600 baud/),
        expect.stringMatching(/at 57600 baud/),
      ]),
    )
    await until(async () => (await running.bridge.ports.read(pty.path)).baud === 57_600, 'it is remembered')
  })

  it('is not disturbed by noise between its lines', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty, { search: { patienceS: 0.2, tryS: 0.2, goodPatienceS: 1 } })
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const board = createTestBoard()
    await writePty(pty, board.greeting())
    for (let i = 0; i < 12; i++) {
      await writePty(pty, board.samples(2))
      for (let k = 0; k < 4; k++) {
        await writePty(pty, `${String.fromCharCode(...garbage)}\n`)
        await new Promise((resolve) => setTimeout(resolve, 50))
      }
    }
    expect(speedOf(pty)).toBe(115_200)
    expect(running.logger.lines.filter((line) => line.includes('trying'))).toEqual([])
  })
})

const map = {
  format: 'floatbowl-map 1',
  name: 'shed board',
  lines: { by: 'divider', divider: ';', fields: 3 },
  clock: { field: 1, format: 'milliseconds' },
  channels: [
    { field: 2, channel: 'lambda', unit: '1' },
    { field: 3, channel: 'engine_speed', unit: 'rpm' },
  ],
}
const foreignLines = (from: number, count: number) =>
  Array.from({ length: count }, (_, i) => `${(from + i) * 20};0.9${i % 10};${850 + i}\n`).join('')

describe('a line map saved on the page', () => {
  const put = (running: RunningBridge, path: string, body: unknown) =>
    fetch(running.url(path), {
      method: 'PUT',
      headers: { 'content-type': 'application/json' },
      body: JSON.stringify(body),
    })

  it('is in force at once, the recording goes on with every raw line, and the run is read with it from there', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const page = new TestPage(running.port)
    cleanups.push(() => page.close())
    await running.bridge.startRecording(false)
    await writePty(pty, foreignLines(0, 50))
    await until(() => running.bridge.sources[0].counts.lines >= 50, 'the lines came')
    expect(page.sampleCount).toBe(0)
    expect((await put(running, '/api/maps/shed', map)).status).toBe(200)
    expect((await put(running, '/api/sources/0/map', { name: 'shed' })).status).toBe(200)
    await writePty(pty, foreignLines(50, 60))
    await until(() => page.sampleCount === 60, 'samples at once')
    expect(running.bridge.sources[0]).toMatchObject({ state: 'connected', map: 'shed board', canMap: true })
    expect(
      page
        .of('declaration')
        .at(-1)
        ?.channels.map(({ name }) => name),
    ).toEqual(['lambda', 'engine_speed'])
    await running.bridge.recorder.stop('test')
    const [path] = await findCaptures(running.dataDir)
    const text = await readCapture(path)
    expect(text.split('\n').filter((line) => / <0 \d/.test(line))).toHaveLength(110)
    const scanned = scanCapture(Buffer.from(text, 'latin1'), { decoderOf: decodeSource })
    expect(scanned.segments.map(({ timeS }) => timeS.length)).toEqual([60])
    expect(scanned.counts).toMatchObject({ samples: 60, unreadable: 50 })
    expect(analyseCapture(Buffer.from(text, 'latin1')).result.channels_used).toEqual([
      'lambda',
      'engine_speed',
    ])
    expect(await running.bridge.ports.read(pty.path)).toMatchObject({ map: 'shed' })
  })

  it('goes into the start record of the next run, and our own format comes back when asked for', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    await put(running, '/api/maps/shed', map)
    await put(running, '/api/sources/0/map', { name: 'shed' })
    await writePty(pty, foreignLines(0, 20))
    await until(() => running.bridge.sources[0].counts.samples === 20, 'mapped samples')
    await running.bridge.startRecording(false)
    await running.bridge.recorder.stop('test')
    const [path] = await findCaptures(running.dataDir)
    const start = scanCapture(readFileSync(path)).records.find(({ record }) => record.type === 'start')
    expect(start?.record).toMatchObject({
      sources: [{ source: 0, kind: 'mapped', map: { name: 'shed board' } }],
    })
    expect((await put(running, '/api/sources/0/map', { name: null })).status).toBe(200)
    const board = createTestBoard()
    await writePty(pty, board.greeting() + board.samples(30))
    await until(() => running.bridge.sources[0].counts.samples === 30, "the board's own samples")
    expect(running.bridge.sources[0].map).toBeUndefined()
    expect(await running.bridge.ports.read(pty.path)).toEqual({})
  })

  it('is refused in words when there is none of that name, or no port', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty)
    const answer = await put(running, '/api/sources/0/map', { name: 'nowhere' })
    expect(answer.status).toBe(404)
    expect(((await answer.json()) as { detail: string }).detail).toContain('nowhere')
    expect((await put(running, '/api/sources/7/map', { name: null })).status).toBe(409)
    expect((await put(running, '/api/sources/0/map', { name: '../x' })).status).toBe(400)
  })
})

describe('floatbowl serve on a port', () => {
  it('reads it the next time as the page said, and finds it at the speed that was found', async () => {
    const dataDir = mkdtempSync(join(tmpdir(), 'floatbowl-port-'))
    cleanups.push(() => rmSync(dataDir, { recursive: true, force: true }))
    const pty = newPty()
    const first = await bridgeAt(pty, { dataDir })
    await first.bridge.ports.keep(pty.path, { map: 'shed', baud: 57_600 })
    const { MapStore } = await import('../../bridge/store/mapStore.ts')
    await new MapStore(dataDir).save('shed', parseLineMap(map))
    await first.stop()
    cleanups.splice(cleanups.length - 1, 1)
    const { portSetup } = await import('../../bridge/portSetup.ts')
    const logger = createTestLogger()
    const clock = createClock()
    const setup = await portSetup(pty.path, { dataDir, baud: undefined }, clock, logger)
    expect(setup.source.speed).toBe(57_600)
    expect(setup.describe).toEqual(mappedReading(parseLineMap(map)).describe)
    expect(logger.lines.join()).toContain('the map shed, as the last time')
    const said = await portSetup(pty.path, { dataDir, baud: 9600 }, clock, logger)
    expect(said.source.speed).toBe(9600)
    expect(said.speedSearch).toBeUndefined()
  })
})
