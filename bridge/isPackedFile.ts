import { open } from 'node:fs/promises'

/** First bytes of what gzip packs (RFC 1952). */
const magic = [0x1f, 0x8b]

/** True when the file's bytes, whatever its name says, are packed with gzip. False for a file that cannot be opened: reading it tells why. */
export async function isPackedFile(path: string): Promise<boolean> {
  const file = await open(path, 'r').catch(() => undefined)
  if (!file) return false
  try {
    const head = Buffer.alloc(magic.length)
    await file.read(head, 0, head.length, 0)
    return magic.every((byte, i) => head[i] === byte)
  } catch {
    // A folder opens and cannot be read.
    return false
  } finally {
    await file.close()
  }
}
