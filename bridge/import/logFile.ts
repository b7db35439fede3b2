import { createReadStream } from 'node:fs'
import { open } from 'node:fs/promises'
import { createGunzip } from 'node:zlib'
import { isPacked } from '../../core/capture/packed.ts'
import { BridgeError, fileProblem } from '../bridgeError.ts'

const chunkBytes = 1 << 20

/** A log on the disk, read as a stream as often as needed. */
export interface LogFile {
  readonly sizeBytes: number
  readonly changedMs: number
  /** Unpacked bytes with the share of the file that is read. */
  chunks(): AsyncGenerator<{ bytes: Buffer; share: number }>
}

/**
 * Looks at a log's first bytes: packed with gzip or not, and no text in two bytes a character.
 * @throws BridgeError `unreadable`
 */
export async function openLog(path: string): Promise<LogFile> {
  const { head, sizeBytes, changedMs } = await readHead(path).catch((error: unknown) => {
    throw new BridgeError('unreadable', fileProblem(path, error), { cause: error })
  })
  if ((head[0] === 0xff && head[1] === 0xfe) || (head[0] === 0xfe && head[1] === 0xff)) {
    throw new BridgeError('unreadable', `${path}: the text is UTF-16: save it as UTF-8 and import it again`)
  }
  return {
    sizeBytes,
    changedMs,
    async *chunks() {
      const file = createReadStream(path, { highWaterMark: chunkBytes })
      const bytes = isPacked(head) ? file.pipe(createGunzip({ chunkSize: chunkBytes })) : file
      file.on('error', (error) => bytes.destroy(error))
      try {
        for await (const chunk of bytes) {
          yield { bytes: chunk as Buffer, share: sizeBytes > 0 ? file.bytesRead / sizeBytes : 1 }
        }
      } catch (error) {
        throw new BridgeError('unreadable', fileProblem(path, error), { cause: error })
      } finally {
        file.destroy()
      }
    },
  }
}

async function readHead(path: string) {
  const file = await open(path, 'r')
  try {
    const { size, mtimeMs } = await file.stat()
    const head = Buffer.alloc(2)
    await file.read(head, 0, 2, 0)
    return { head, sizeBytes: size, changedMs: mtimeMs }
  } finally {
    await file.close()
  }
}
