import { createReadStream, type ReadStream } from 'node:fs'
import { pipeline, type Readable } from 'node:stream'
import { isPackedFile } from '../isPackedFile.ts'

/** A run that is being read: its file, and the bytes of the capture in it. */
export interface OpenRun {
  readonly file: ReadStream
  readonly bytes: Readable
}

/**
 * Opens a run, packed or not, to be read in pieces of so many bytes. The file system's error comes out of `bytes`. Of a packed run that breaks off
 * (a copy that did not end) comes what is there: its last line is then torn, which the scanner tells. Damage within still ends in an error.
 */
export async function openRun(path: string, pieceBytes: number): Promise<OpenRun> {
  const isPacked = await isPackedFile(path)
  const file = createReadStream(path, { highWaterMark: pieceBytes })
  if (!isPacked) return { file, bytes: file }
  // Few runs are packed: the library is loaded for them alone.
  const { constants, createGunzip } = await import('node:zlib')
  const bytes = createGunzip({ chunkSize: pieceBytes, finishFlush: constants.Z_SYNC_FLUSH })
  // What fails comes out of the reading; what is left unread gives the file back.
  pipeline(file, bytes, () => {})
  return { file, bytes }
}
