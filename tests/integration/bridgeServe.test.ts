import { type ChildProcess, spawn } from 'node:child_process'
import { mkdtemp, rm, stat, writeFile } from 'node:fs/promises'
import { get } from 'node:https'
import { createRequire } from 'node:module'
import { type AddressInfo, createServer } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterEach, describe, expect, it } from 'vitest'
import { checkRun } from '../../bridge/checkRun.ts'
import { createClock } from '../../bridge/clock.ts'
import { openLocalAuthority } from '../../bridge/security/certificates.ts'
import { listLanAddresses } from '../../bridge/security/hosts.ts'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import { findCaptures, startBridge, TestPage, until } from '../support/bridgeHarness.ts'
import { send } from '../support/rawRequest.ts'

const root = new URL('../..', import.meta.url).pathname
const loader = pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href

const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const clean of cleanups.splice(0).reverse()) await clean()
})

async function newDataDir(): Promise<string> {
  const directory = await mkdtemp(join(tmpdir(), 'floatbowl-serve-'))
  cleanups.push(() => rm(directory, { recursive: true, force: true }))
  return directory
}

function floatbowl(words: string[]) {
  const child: ChildProcess = spawn(
    process.execPath,
    ['--import', loader, join(root, 'bridge', 'main.ts'), ...words],
    {
      stdio: ['ignore', 'pipe', 'pipe'],
    },
  )
  const heard = { out: '', err: '', code: undefined as number | null | undefined }
  child.stdout?.on('data', (part) => {
    heard.out += part
  })
  child.stderr?.on('data', (part) => {
    heard.err += part
  })
  const ended = new Promise<number | null>((resolve) =>
    child.once('close', (code) => {
      heard.code = code
      resolve(code)
    }),
  )
  cleanups.push(async () => {
    child.kill('SIGKILL')
    await ended
  })
  return { child, heard, ended }
}

/** A fix of 10 m/s. */
function rmc(timeS: number): string {
  const clock = `0812${String(timeS % 60).padStart(2, '0')}.00`
  const body = `GPRMC,${clock},A,4807.0380,N,01131.0000,E,19.44,084.4,170526,,,A`
  let sum = 0
  for (const character of body) sum ^= character.charCodeAt(0)
  return `$${body}*${sum.toString(16).toUpperCase().padStart(2, '0')}`
}

describe('floatbowl serve', () => {
  it('prints its address alone on standard output, records the simulator, and closes the run on Ctrl-C', async () => {
    const data = await newDataDir()
    const { child, heard, ended } = floatbowl([
      'serve',
      '--sim',
      'pebble',
      '--listen',
      '127.0.0.1:0',
      '--data',
      data,
      '--record',
    ])
    await until(() => heard.out.includes('\n'), 'the address')
    expect(heard.out).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/\n$/)
    const url = heard.out.trim()
    await until(async () => {
      const status = (await (await fetch(`${url}api/status`)).json()) as {
        sources: { counts: { samples: number } }[]
      }
      return status.sources[0].counts.samples > 100
    }, 'samples')
    child.kill('SIGINT')
    expect(await ended).toBe(130)
    const [path] = await findCaptures(data)
    const report = await checkRun(path)
    expect(report).toMatchObject({ torn_end: false, bad_checksum: 0, missing_samples: 0 })
    expect(report.samples).toBeGreaterThan(100)
  })

  it('replays a run as if live, through the whole chain', async () => {
    const data = await newDataDir()
    const capture = join(data, 'drive.capture')
    const made = floatbowl(['simulate', 'juniper', '--seconds', '20', '--out', capture])
    expect(await made.ended).toBe(0)
    const { child, heard, ended } = floatbowl([
      'serve',
      '--replay',
      capture,
      '--listen',
      '127.0.0.1:0',
      '--data',
      data,
    ])
    await until(() => heard.out.includes('\n'), 'the address')
    await until(async () => {
      const status = (await (await fetch(`${heard.out.trim()}api/status`)).json()) as {
        sources: { state: string; counts: { samples: number } }[]
      }
      return status.sources[0].state === 'connected' && status.sources[0].counts.samples > 50
    }, 'replayed samples')
    child.kill('SIGTERM')
    expect(await ended).toBe(0)
  })

  it('replays a run of another board with the line map that the run carries, its receiver too', async () => {
    const data = await newDataDir()
    const capture = join(data, 'mapped.capture')
    const map = {
      format: 'floatbowl-map 1',
      lines: { by: 'divider', divider: ';' },
      channels: [{ field: 2, channel: 'lambda', unit: '1' }],
    }
    const start = {
      type: 'start',
      at: '2026-05-17T08:12:03.000Z',
      sources: [
        { source: 0, kind: 'mapped', map },
        { source: 1, kind: 'nmea' },
      ],
    }
    const lines = Array.from({ length: 1500 }, (_, i) => {
      const fix = i % 50 === 0 ? formatCaptureLine(i / 50, '<1', rmc(i / 50)) : ''
      return fix + formatCaptureLine(i / 50, '<0', `${i};0.${90 + (i % 10)}`)
    })
    await writeFile(capture, [`${captureHeader}\n`, formatCaptureLine(0, '=', start), ...lines].join(''))
    const { child, heard, ended } = floatbowl([
      ...['serve', '--replay', capture, '--listen', '127.0.0.1:0', '--data', data],
    ])
    await until(() => heard.out.includes('\n'), 'the address')
    const page = new TestPage(Number(new URL(heard.out.trim()).port))
    cleanups.push(() => page.close())
    const heardOf = (source: number) => page.frames.filter((frame) => frame.source === source)
    await until(() => heardOf(0).length > 3 && heardOf(1).length > 1, 'samples of both')
    const declared = page.of('declaration')
    const channelsOf = (source: number) =>
      declared.find((each) => each.source === source)?.channels.map(({ name }) => name)
    expect(channelsOf(0)).toEqual(['lambda'])
    expect(channelsOf(1)).toContain('road_speed')
    expect(heardOf(0)[0].columns[0][0]).toBeCloseTo(0.9, 1)
    expect(heardOf(1)[0].columns[0][0]).toBeCloseTo(10, 1)
    child.kill('SIGTERM')
    expect(await ended).toBe(0)
  })

  it('says who may hold a port that is taken, and how to take another', async () => {
    const holder = createServer()
    await new Promise<void>((resolve) => holder.listen(0, '127.0.0.1', resolve))
    cleanups.push(() => holder.close())
    const { port } = holder.address() as AddressInfo
    const { heard, ended } = floatbowl([
      'serve',
      '--listen',
      `127.0.0.1:${port}`,
      '--data',
      await newDataDir(),
    ])
    expect(await ended).toBe(1)
    expect(heard.out).toBe('')
    expect(heard.err).toMatch(new RegExp(`port ${port} is taken.*--listen`))
  })

  it.each([
    [['serve', '--sim', 'marigold', '--port', '/dev/x'], /give one of/],
    [['serve', '--sim', 'nothing'], /unknown car: nothing \(expected marigold, juniper, pebble, or random/],
    [['serve', '--port', 'tcp://nowhere'], /tcp:\/\/host:port/],
    [['serve', '--listen', '0.0.0.0:4900'], /add --lan/],
    [['serve', '--baud', 'fast'], /invalid --baud/],
    [['serve', '--nonsense'], /unknown option/],
    [['nonsense'], /unknown command/],
  ])('%j is wrong usage', async (words, message) => {
    const { heard, ended } = floatbowl([
      ...words,
      ...(words[0] === 'serve' ? ['--data', await newDataDir()] : []),
    ])
    expect(await ended).toBe(2)
    expect(heard.err).toMatch(message)
    expect(heard.out).toBe('')
  })

  it('fails in words on a replay that is no capture', async () => {
    const data = await newDataDir()
    const { heard, ended } = floatbowl(['serve', '--replay', join(root, 'package.json'), '--data', data])
    expect(await ended).toBe(1)
    expect(heard.err).toMatch(/is no capture file/)
  })
})

describe('https for the network', () => {
  it('lets the network in encrypted only, with a certificate that the authority vouches for', async () => {
    const dataDir = await newDataDir()
    const authority = await openLocalAuthority(dataDir, createClock().wallMs())
    expect((await stat(join(dataDir, '.bridge', 'authority.key'))).mode & 0o777).toBe(0o600)
    const running = await startBridge({ dataDir, host: '0.0.0.0', server: { lan: true, authority } })
    cleanups.push(() => running.stop())
    const { port } = running
    const [lan] = listLanAddresses()
    const ask = (host: string) =>
      new Promise<number>((resolve, reject) => {
        get({ host, port, path: '/api/status', ca: authority.certificatePem, agent: false }, (answer) => {
          answer.resume()
          resolve(answer.statusCode ?? 0)
        }).on('error', reject)
      })
    expect(await ask('127.0.0.1')).toBe(200)
    expect((await send(port, { path: '/api/status' })).status).toBe(200)
    if (lan) {
      expect(await ask(lan.address)).toBe(401)
      const host = `${lan.address}:${port}`
      const plain = await send(port, { path: '/api/status', host })
      expect(plain.status).toBe(403)
      expect(plain.text).toContain('Trust this bridge')
      const certificate = await send(port, { path: '/floatbowl-authority.crt', host })
      expect(certificate.text).toBe(authority.certificatePem)
    }
    const again = await openLocalAuthority(dataDir, createClock().wallMs())
    expect(again.certificatePem).toBe(authority.certificatePem)
  })
})
