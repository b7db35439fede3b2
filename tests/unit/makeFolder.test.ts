import { existsSync } from 'node:fs'
import { mkdtemp, rm, stat, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeFolder } from '../../bridge/makeFolder.ts'

let base = ''
beforeAll(async () => {
  base = await mkdtemp(join(tmpdir(), 'floatbowl-folder-'))
})
afterAll(() => rm(base, { recursive: true }))

describe('makeFolder', () => {
  it('makes all folders that are missing, and leaves one that is there alone', async () => {
    const path = join(base, 'a', 'b', 'c')
    await makeFolder(path)
    await makeFolder(path)
    expect((await stat(path)).isDirectory()).toBe(true)
  })

  it('says so when a file is in the way', async () => {
    const file = join(base, 'file')
    await writeFile(file, '')
    await expect(makeFolder(file)).rejects.toThrow('EEXIST')
    await expect(makeFolder(join(file, 'below'))).rejects.toThrow('ENOTDIR')
  })

  it.runIf(existsSync('/proc/self'))('ends where the file system takes no new folder', async () => {
    await expect(makeFolder('/proc/nowhere/below')).rejects.toThrow('ENOENT')
  })
})
