import { spawnSync } from 'node:child_process'
import { mkdirSync, writeFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { gzipSync } from 'node:zlib'
import { beforeAll, describe, expect, it } from 'vitest'
import { testDirectory } from '../support/runFiles.ts'

const root = new URL('../..', import.meta.url).pathname
const loader = pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href
const directory = testDirectory()
const at = (name: string) => join(directory, name)

const map = {
  format: 'floatbowl-map 1',
  lines: { by: 'divider', divider: ',' },
  clock: { field: 't', format: 'seconds' },
  channels: [{ field: 'rpm', channel: 'engine_speed', unit: 'rpm', range: [0, 9000] }],
}

beforeAll(() => {
  mkdirSync(at('folder.capture'))
  writeFileSync(at('map.json'), JSON.stringify(map))
  writeFileSync(
    at('noise.csv'),
    Uint8Array.from({ length: 5000 }, (_, i) => (i * 7919) >> 3),
  )
  writeFileSync(at('german.csv'), 'Zeit;Drehzahl\n0,1;900\n0,2;910\n')
  writeFileSync(at('empty.csv'), '')
  writeFileSync(
    at('swapped.csv'),
    `t,rpm\n${Array.from({ length: 40 }, (_, i) => `${i},-${900 + i}`).join('\n')}\n`,
  )
  writeFileSync(
    at('cut.capture.gz'),
    // Cut far inside: what is there unpacks to a part of the lines, the last of them torn.
    gzipSync(
      `floatbowl-capture 1\n${Array.from({ length: 4000 }, (_, i) => `${(i / 50).toFixed(6)} <0 ${(i * 7919) % 9973} x\n`).join('')}`,
    ).subarray(0, 9000),
  )
})

function floatbowl(...words: string[]) {
  const { status, stdout, stderr } = spawnSync(
    process.execPath,
    ['--import', loader, join(root, 'bridge', 'main.ts'), ...words],
    { encoding: 'utf8', env: { ...process.env, NO_COLOR: '1' } },
  )
  return { status, stdout, stderr }
}

/** What no reader should have to know. */
const systemTalk = /E[A-Z]{4,}|\bstat\b|errno|syscall|at .*\.ts:\d/

describe('a file that is not there or cannot be read', () => {
  it.each([
    ['analyse', at('none.capture')],
    ['check', at('none.capture')],
    ['report', at('none.capture')],
    ['compare', at('none.capture'), at('none.capture')],
    ['export', at('none.capture'), '--to', 'csv'],
    ['import', at('none.csv'), '--map', at('map.json'), '--out', at('x.capture')],
    ['import', at('german.csv'), '--map', at('none.json'), '--out', at('x.capture')],
    ['advise', at('none.capture'), '--box', at('none.json')],
    ['analyse', at('german.csv'), '--car', at('none.json')],
    ['serve', '--replay', at('none.capture'), '--data', at('data')],
    ['serve', '--port', 'tcp://127.0.0.1:9', '--map', at('none.json'), '--data', at('data')],
  ])('%s %s is told in plain words', (...words) => {
    const { status, stdout, stderr } = floatbowl(...words)
    expect(stderr).toMatch(/none\.(capture|csv|json).*there is no such file/)
    expect(stderr).not.toMatch(systemTalk)
    expect(stdout).toBe('')
    expect([1, 2]).toContain(status)
  })

  it.each([['analyse'], ['check'], ['report']])('%s of a directory says so', (command) => {
    const folder = floatbowl(command, at('folder.capture'))
    expect(folder.stderr).toMatch(/it is a directory, not a file/)
    expect(folder.stderr).not.toMatch(systemTalk)
  })

  it('a target of a state that there is none is wrong usage, and names it', () => {
    writeFileSync(at('targets.json'), '{"cruse": {"lambda": 1.02, "rich": 0.04, "lean": 0.04}}')
    const { status, stderr } = floatbowl('analyse', at('cut.capture.gz'), '--target', at('targets.json'))
    expect(status).toBe(2)
    expect(stderr).toMatch(/targets\.json.*unknown: cruse/)
  })

  it('a car’s profile with a slip of the keys is wrong usage, and names it', () => {
    writeFileSync(at('car.json'), '{"id": "pebble", "limits": {"lean_under_load": 9.2}}')
    const { status, stderr } = floatbowl('analyse', at('cut.capture.gz'), '--car', at('car.json'))
    expect(status).toBe(2)
    expect(stderr).toMatch(/car\.json.*limits\.lean_under_load: expected 0\.7 to 1\.3/)
  })

  it('a packed run that breaks off is read as far as it goes, and its torn end told', () => {
    const checked = JSON.parse(floatbowl('check', at('cut.capture.gz'), '--json').stdout)
    expect(checked).toMatchObject({ torn_end: true })
    expect(checked.lines).toBeGreaterThan(100)
    const analysed = floatbowl('analyse', at('cut.capture.gz'), '--json')
    expect(analysed.status).toBe(0)
    expect(JSON.parse(analysed.stdout).integrity).toMatchObject({ torn_end: true, lines: checked.lines })
    expect(floatbowl('report', at('cut.capture.gz')).status).toBe(0)
  })

  it('a sheet is in the units asked for, and refuses one that is none', () => {
    const run = at('20260517T081203Z.capture')
    expect(floatbowl('simulate', 'pebble', '--seconds', '1', '--out', run).status).toBe(0)
    const sheet = floatbowl('report', run, '--unit', 'temperature=F', 'distance=mi')
    expect(sheet.stdout).toMatch(/air 68 °F, .*density altitude −?\d+ ft/)
    const refused = floatbowl('report', run, '--unit', 'temperature=X')
    expect(refused).toMatchObject({ status: 2, stdout: '' })
    expect(refused.stderr).toContain('invalid --unit: temperature=X')
  })

  it.each([
    ['simulate', 'pebble', '--seconds', '1', '--out', at('nowhere/y.capture')],
    ['simulate', 'pebble', '--seconds', '1', '--out', at('folder.capture')],
  ])('%s into a place that is none says so', (...words) => {
    const { status, stderr } = floatbowl(...words)
    expect(status).toBe(1)
    expect(stderr).toMatch(/cannot be written: (there is no such directory|it is a directory)/)
    expect(stderr).not.toMatch(systemTalk)
  })
})

describe('a log that does not fit its map', () => {
  it.each([
    ['noise.csv', /noise\.csv is no text.*line 1 "·/],
    ['german.csv', /none of the 3 lines.*line 1 "Zeit;Drehzahl": no header yet with "rpm", "t"/],
    [
      'swapped.csv',
      /no value is believable: are the columns right\?.*line 2 "0,-900": engine_speed is -900 rpm/,
    ],
    ['empty.csv', /empty\.csv is empty/],
  ])('%s is refused with the first offending line', (name, message) => {
    const { status, stderr } = floatbowl(
      'import',
      at(name),
      '--map',
      at('map.json'),
      '--out',
      at('out.capture'),
    )
    expect(status).toBe(1)
    expect(stderr).toMatch(message)
    // Nothing that a terminal obeys gets through.
    for (const character of stderr) expect(character >= ' ' || character === '\n').toBe(true)
  })
})
