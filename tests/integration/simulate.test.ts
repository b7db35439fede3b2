import { type ChildProcess, spawn, spawnSync } from 'node:child_process'
import { once } from 'node:events'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { SerialPort } from 'serialport'
import { afterAll, afterEach, beforeAll, describe, expect, test } from 'vitest'
import { partsFileSchema } from '../../core/contract/car.ts'
import { decodeLine } from '../../core/line/decodeLine.ts'

const root = new URL('../..', import.meta.url).pathname
const entry = ['--import', 'tsx', join(root, 'bridge/main.ts'), 'simulate']
let dir = ''
const children: ChildProcess[] = []

const run = (...args: string[]) =>
  spawnSync(process.execPath, [...entry, ...args], { cwd: root, encoding: 'utf8', timeout: 50_000 })

/** Starts a live board and gives the address it prints. */
function start(...args: string[]): Promise<string> {
  const child = spawn(process.execPath, [...entry, ...args], {
    cwd: root,
    stdio: ['ignore', 'pipe', 'inherit'],
  })
  children.push(child)
  return new Promise((resolve, reject) => {
    child.stdout.once('data', (chunk: Buffer) => resolve(chunk.toString().trim()))
    child.once('exit', (code) => reject(new Error(`ended with ${code}`)))
  })
}

const goodSamples = (text: string) =>
  text
    .split('\n')
    .slice(1, -1)
    .filter((line) => decodeLine(line.trimEnd()).kind === 'sample').length

beforeAll(() => {
  dir = mkdtempSync(join(tmpdir(), 'simulate-'))
})
afterEach(() => {
  for (const child of children.splice(0)) child.kill('SIGKILL')
})
afterAll(() => rmSync(dir, { recursive: true, force: true }))

describe('floatbowl simulate', () => {
  test('takes several settings after one --set, and further ones', () => {
    const out = join(dir, 'set.capture')
    const done = run(
      'pebble',
      '--seconds',
      '5',
      '--set',
      'setup=right',
      'air.temperature_C=29',
      '--set',
      'air.pressure_kPa=98',
      '--out',
      out,
    )
    expect(done.stderr).toContain('pebble (right)')
    expect(done.status).toBe(0)
    expect(readFileSync(out, 'utf8')).toContain('"temperature_C":29,"pressure_kPa":98')
  })

  test('writes a capture, its truth and the parts box', () => {
    const out = join(dir, 'run.capture')
    const truth = join(dir, 'truth.json')
    const parts = join(dir, 'box.json')
    const done = run(
      'juniper',
      '--seconds',
      '30',
      '--set',
      'setup=lean_main',
      '--out',
      out,
      '--truth',
      truth,
      '--parts',
      parts,
    )
    expect(done.stderr).toContain('30 s of juniper (lean_main)')
    expect(done.status).toBe(0)
    expect(readFileSync(out, 'utf8')).toMatch(/^floatbowl-capture 1\n/)
    const told = JSON.parse(readFileSync(truth, 'utf8'))
    expect(told.timeS).toHaveLength(3000)
    expect(told.fitted.main_jet.label).toBe('90')
    const box = partsFileSchema.parse(JSON.parse(readFileSync(parts, 'utf8')))
    expect(box.fitted?.main_jet?.label).toBe('90')
    expect(box.box?.main_jet?.length).toBeGreaterThan(5)
  })

  test.each([
    { args: ['juniper', '--set', 'air.temprature_C=3', '--out', 'x'], says: 'air.temperature_C' },
    { args: ['junper', '--out', 'x'], says: 'juniper' },
    { args: ['juniper', '--drive', 'trafic', '--out', 'x'], says: 'traffic' },
    { args: ['juniper'], says: '--out FILE' },
    { args: ['juniper', '--seconds', '-3', '--out', 'x'], says: 'from 1' },
  ])('ends with 2 and says what is expected: $args', ({ args, says }) => {
    const done = run(...args)
    expect(done.status).toBe(2)
    expect(done.stderr).toContain(says)
    expect(done.stdout).toBe('')
  })

  test('drives a file of steps', () => {
    const drive = join(dir, 'drive.json')
    const out = join(dir, 'short.capture')
    writeFileSync(
      drive,
      JSON.stringify([
        { do: 'start', mark: 'key' },
        { do: 'idle', s: 3 },
        { do: 'off', s: 1 },
      ]),
    )
    expect(run('pebble', '--drive', drive, '--out', out).status).toBe(0)
    expect(readFileSync(out, 'utf8')).toContain('{"type":"mark","label":"key"}')
  })

  test('talks on a TCP port and answers', async () => {
    const address = await start('pebble', '--tcp', '0')
    expect(address).toMatch(/^tcp:\/\/127\.0\.0\.1:\d+$/)
    const socket = connect(Number(address.split(':')[2]), '127.0.0.1')
    let text = ''
    await new Promise<void>((resolve) => {
      socket.on('connect', () => socket.write('?\n'))
      socket.on('data', (chunk: Buffer) => {
        text += chunk.toString('latin1')
        if (goodSamples(text) > 20 && /\nA,\?,ok/.test(text)) resolve()
      })
    })
    socket.destroy()
    expect(text).toMatch(/\nI,1,/)
  })

  test('a pseudo-terminal that nobody reads ends on time, and by a signal', async () => {
    // Longer than the terminal has room for what nobody takes.
    const fullS = 8
    const end = async (seconds: number, signal?: NodeJS.Signals) => {
      const path = start('pebble', '--pty', '--seconds', String(seconds))
      const child = children[children.length - 1]
      const ended = once(child, 'exit')
      expect(await path).toMatch(/^\/dev\/pts\//)
      if (signal) setTimeout(() => child.kill(signal), fullS * 1000)
      return await ended
    }
    expect(await Promise.all([end(fullS + 1), end(600, 'SIGINT'), end(600, 'SIGTERM')])).toEqual([
      [0, null],
      [130, null],
      [0, null],
    ])
  })

  test('talks on a pseudo-terminal to a serial library, again after it was closed', async () => {
    const path = await start('pebble', '--pty')
    for (let round = 0; round < 2; round++) {
      const port = new SerialPort({ path, baudRate: 921600 })
      let text = ''
      await new Promise<void>((resolve, reject) => {
        port.on('error', reject)
        port.on('data', (chunk: Buffer) => {
          text += chunk.toString('latin1')
          if (goodSamples(text) > 20) resolve()
        })
      })
      await new Promise<void>((resolve) => port.close(() => resolve()))
    }
  })
})
