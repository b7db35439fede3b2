import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
import { afterAll, describe, expect, it } from 'vitest'
import { openRun } from '../../bridge/analysis/openRun.ts'

const folder = mkdtempSync(join(tmpdir(), 'floatbowl-open-'))
const text = `floatbowl-capture 1\n${'0.000000 <0 x\n'.repeat(50_000)}`
const at = (name: string, bytes: string | Uint8Array) => {
  const path = join(folder, name)
  writeFileSync(path, bytes)
  return path
}
afterAll(() => rmSync(folder, { recursive: true }))

describe('openRun', () => {
  it.each([
    ['plain', text],
    ['packed', gzipSync(text, { level: 0 })],
  ])('gives a %s file back when its reader leaves early', async (name, bytes) => {
    const { file, bytes: read } = await openRun(at(`${name}.capture`, bytes), 1024)
    for await (const _ of read) break
    if (!file.closed) await new Promise<void>((resolve) => file.once('close', () => resolve()))
    expect(file.destroyed).toBe(true)
  })

  it("passes on the file system's error", async () => {
    const { bytes } = await openRun(join(folder, 'none.capture'), 1024)
    await expect(bytes.toArray()).rejects.toMatchObject({ code: 'ENOENT' })
  })

  it('tells of damage within a packed run', async () => {
    const packed = gzipSync(text, { level: 0 })
    packed.fill(0xff, 200_000, 200_100)
    const { bytes } = await openRun(at('damaged.capture.gz', packed.subarray(0)), 1024)
    await expect(bytes.toArray()).rejects.toThrow()
  })
})
