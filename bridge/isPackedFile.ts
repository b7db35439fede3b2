import { open } from 'node:fs/promises'
import { isPacked } from '../core/capture/packed.ts'

/** True when the file's bytes, whatever its name says, are packed with gzip. False for a file that cannot be opened: reading it tells why. */
export async function isPackedFile(path: string): Promise<boolean> {
  const file = await open(path, 'r').catch(() => undefined)
  if (!file) return false
  try {
    const head = Buffer.alloc(2)
    await file.read(head, 0, head.length, 0)
    return isPacked(head)
  } catch {
    // A folder opens and cannot be read.
    return false
  } finally {
    await file.close()
  }
}
