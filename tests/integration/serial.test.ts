import { rmSync, symlinkSync, unlinkSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { createClock } from '../../bridge/clock.ts'
import { silentLogger } from '../../bridge/logger.ts'
import { createSerialSource } from '../../bridge/source/serialSource.ts'
import { boardSetup, type RunningBridge, startBridge, TestPage, until } from '../support/bridgeHarness.ts'
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

async function bridgeAt(path: string, baud = 115_200): Promise<RunningBridge> {
  const clock = createClock()
  const source = createSerialSource({
    path,
    baud,
    clock,
    logger: silentLogger,
    retry: { firstMs: 20, longestMs: 100 },
  })
  const running = await startBridge({ clock, sources: [boardSetup(source)] })
  cleanups.push(() => running.stop())
  return running
}

const stateOf = ({ bridge }: RunningBridge) => bridge.sources[0].state
const countsOf = ({ bridge }: RunningBridge) => bridge.sources[0].counts

const send = writePty

describe.each([115_200, 921_600])('a serial board at %i baud', (baud) => {
  it('arrives complete at the page', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty.path, baud)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const page = new TestPage(running.port)
    cleanups.push(() => page.close())
    const board = createTestBoard()
    await send(pty, board.greeting())
    for (let i = 0; i < 20; i++) await send(pty, board.samples(25))
    await until(() => page.sampleCount === 500, 'all samples')
    expect(stateOf(running)).toBe('connected')
    expect(countsOf(running)).toMatchObject({
      samples: 500,
      badChecksum: 0,
      unreadable: 0,
      missingSamples: 0,
    })
    const lambdas = page.frames.flatMap((frame) => [...frame.columns[0]])
    expect(lambdas.map((value) => Math.round(value * 1000))).toEqual(
      Array.from({ length: 500 }, (_, i) => 1000 + i),
    )
  })
})

describe('a serial board that comes and goes', () => {
  it('is opened again after each unplugging, with every sample once', async () => {
    const link = join(tmpdir(), `floatbowl-port-${process.pid}-${Date.now()}`)
    cleanups.push(() => rmSync(link, { force: true }))
    const running = await bridgeAt(link)
    await until(() => /is not there/.test(running.bridge.sources[0].text), 'the missing port is named')
    const page = new TestPage(running.port)
    cleanups.push(() => page.close())
    const board = createTestBoard()
    for (let round = 1; round <= 3; round++) {
      const pty = newPty()
      symlinkSync(pty.path, link)
      await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
      await send(pty, `${board.greeting()}${board.samples(50)}`)
      await until(() => page.sampleCount === 50 * round, `the samples of round ${round}`)
      expect(stateOf(running)).toBe('connected')
      unlinkSync(link)
      pty.hangUp()
      cleanups.splice(cleanups.length - 1, 1)
      await until(() => stateOf(running) === 'lost', 'the loss is seen')
    }
    expect(countsOf(running)).toMatchObject({ samples: 150, badChecksum: 0, unreadable: 0 })
  })

  it('is called silent after 2 s without a line, and connected again with the next one', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty.path)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const board = createTestBoard()
    await send(pty, board.greeting() + board.samples(10))
    await until(() => stateOf(running) === 'connected', 'connected')
    await until(() => stateOf(running) === 'silent', 'silence is seen')
    expect(running.bridge.sources[0].text).toMatch(/check the board/)
    await send(pty, board.samples(10))
    await until(() => stateOf(running) === 'connected', 'connected again')
  })

  it('says that another program holds the port, and takes it when it is free', async () => {
    const pty = newPty()
    const { SerialPort } = await import('serialport')
    const holder = new SerialPort({ path: pty.path, baudRate: 115_200 })
    holder.resume()
    await new Promise((resolve) => holder.once('open', resolve))
    const running = await bridgeAt(pty.path)
    await until(() => /held by another program/.test(running.bridge.sources[0].text), 'the holder is named')
    await new Promise<void>((resolve) => holder.close(() => resolve()))
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is taken')
  })
})

describe('a bad serial line', () => {
  it('of long garbage is told as a wrong speed, and a good board after it is read', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty.path)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    let state = 12345
    const noise = Array.from({ length: 100_000 }, () => {
      state = (state * 1103515245 + 12345) & 0x7fffffff
      // No line feed at all, nor control bytes that a terminal would act on before the port is raw.
      return String.fromCharCode(0x80 + ((state >> 16) & 0x3f))
    }).join('')
    await send(pty, noise)
    await until(async () => {
      await send(pty, Uint8Array.of(0x90))
      return /wrong speed/.test(running.bridge.sources[0].text)
    }, 'the wrong speed is told')
    expect(running.bridge.stream.historyBytes).toBeLessThan(10_000)
    const board = createTestBoard()
    await send(pty, `\n${board.greeting()}${board.samples(50)}`)
    await until(() => countsOf(running).samples === 50, 'the board is read')
    expect(countsOf(running).unreadable).toBeGreaterThan(0)
  })

  it('of half lines and flipped bits costs only those lines', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty.path)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const board = createTestBoard()
    const lines = board.samples(20).trimEnd().split('\n')
    const half = lines[5].slice(0, 12)
    const flipped = lines[10].replace(/^S/, 'T')
    const sent = lines.map((line, i) => (i === 5 ? half : i === 10 ? flipped : line))
    await send(pty, `${board.greeting()}${sent.join('\n')}\n`)
    await until(() => countsOf(running).samples === 18, 'the good samples')
    const { badChecksum, unreadable, missingSamples } = countsOf(running)
    expect(badChecksum + unreadable).toBe(2)
    expect(missingSamples).toBe(2)
  })

  it('that declares other channels midway starts a new segment with its own columns', async () => {
    const pty = newPty()
    const running = await bridgeAt(pty.path)
    await until(() => running.bridge.sources[0].text.includes('port is open'), 'the port is open')
    const page = new TestPage(running.port)
    cleanups.push(() => page.close())
    const board = createTestBoard()
    await send(pty, board.greeting() + board.samples(20))
    await until(() => page.sampleCount === 20, 'first part')
    await send(
      pty,
      board.redeclare([
        ['lambda', '1'],
        ['oil_pressure', 'psi'],
      ]) + board.samples(20),
    )
    await until(() => page.sampleCount === 40, 'second part')
    const segments = new Set(page.frames.map((frame) => frame.segment))
    expect(segments.size).toBeGreaterThan(1)
    const last = page.frames[page.frames.length - 1]
    const declared = page.of('declaration').filter(({ segment }) => segment === last.segment)
    expect(declared[0].channels.map(({ name }) => name).slice(0, 2)).toEqual(['lambda', 'oil_pressure'])
    expect(last.columns.length).toBe(declared[0].channels.length)
  })
})
