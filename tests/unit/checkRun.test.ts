import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
import { describe, expect, it } from 'vitest'
import { checkRun } from '../../bridge/checkRun.ts'
import { findCar, simulateRun } from '../../simulator/index.ts'
import { testDirectory } from '../support/runFiles.ts'

const directory = testDirectory()
const { bytes } = simulateRun({ car: findCar('pebble'), seconds: 20 })

async function check(name: string, content: Uint8Array) {
  const path = join(directory, name)
  writeFileSync(path, content)
  return await checkRun(path)
}

describe('checkRun', () => {
  it('calls a whole run fine, packed or not', async () => {
    for (const [name, content] of [
      ['whole.capture', bytes],
      ['whole.capture.gz', gzipSync(bytes)],
    ] as const) {
      expect(await check(name, content)).toMatchObject({ torn_end: false, verdict: 'fine' })
    }
  })

  it('calls no run fine that breaks off', async () => {
    const packed = gzipSync(bytes)
    const cut = await check('cut.capture.gz', packed.subarray(0, packed.length / 2))
    expect(cut).toMatchObject({ bad_checksum: 0, torn_end: true, verdict: 'usable' })
  })

  it('is not led astray by one damaged time', async () => {
    const { seconds } = await check('run.capture', bytes)
    const lines = Buffer.from(bytes).toString('latin1').split('\n')
    const damaged = lines.with(400, lines[400].replace(/^\d+/, '670000')).join('\n')
    const report = await check('damaged.capture', Buffer.from(damaged, 'latin1'))
    expect(report).toMatchObject({ seconds, gaps: [], corrupt_lines: 0, verdict: 'fine' })
  })
})
