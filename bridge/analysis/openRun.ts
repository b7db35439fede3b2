import { createReadStream, type ReadStream } from 'node:fs'
import type { Readable } from 'node:stream'
import type { Gunzip } from 'node:zlib'

/** A run that is being read: its file, and the bytes of the capture in it. */
export interface OpenRun {
  readonly file: ReadStream
  readonly bytes: Readable
}

/** Opens a run, packed or not, to be read in pieces of so many bytes. The file system's error comes out of `bytes`. */
export async function openRun(path: string, pieceBytes: number): Promise<OpenRun> {
  if (!path.endsWith('.gz')) {
    const file = createReadStream(path, { highWaterMark: pieceBytes })
    return { file, bytes: file }
  }
  const bytes = await createRunUnpacker(pieceBytes)
  const file = createReadStream(path, { highWaterMark: pieceBytes })
  file.on('error', (error) => bytes.destroy(error))
  return { file, bytes: file.pipe(bytes) }
}

/**
 * Unpacks a run as it is read. Of one that breaks off (a copy that did not end) comes what is there: its last line is then torn, which the
 * scanner tells. Damage within still ends in an error. Few runs are packed: the library is loaded for them alone.
 */
export async function createRunUnpacker(pieceBytes: number): Promise<Gunzip> {
  const { constants, createGunzip } = await import('node:zlib')
  return createGunzip({ chunkSize: pieceBytes, finishFlush: constants.Z_SYNC_FLUSH })
}
