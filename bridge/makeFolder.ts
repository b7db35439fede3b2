import { mkdir, stat } from 'node:fs/promises'
import { dirname } from 'node:path'
import { systemCode } from './bridgeError.ts'

/**
 * Makes a folder with those above it; one that is there is left alone. Step by step: the runtime's own way of making all of them does not end on a file
 * system that answers "not there" to a new folder, as `/proc` does.
 * @throws the file system's error
 */
export async function makeFolder(path: string): Promise<void> {
  try {
    await mkdir(path)
  } catch (error) {
    const code = systemCode(error)
    if (code === 'EEXIST' && (await stat(path)).isDirectory()) return
    const parent = dirname(path)
    if (code !== 'ENOENT' || parent === path || (await isFolder(parent))) throw error
    await makeFolder(parent)
    await mkdir(path)
  }
}

async function isFolder(path: string): Promise<boolean> {
  return await stat(path).then(
    (found) => found.isDirectory(),
    () => false,
  )
}
