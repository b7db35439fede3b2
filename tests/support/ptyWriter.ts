import { write } from 'node:fs'
import type { Pty } from './pty.ts'

/**
 * Writes to the board's end of a pseudo-terminal as fast as the reader takes it. The stream's own `write` blocks the process once the
 * terminal's queue (4 kB) is full, and with it a reader in the same process: so the bytes go through the thread pool.
 */
export async function writePty(pty: Pty, data: string | Uint8Array): Promise<void> {
  const bytes = typeof data === 'string' ? Buffer.from(data, 'latin1') : data
  const { fd } = (pty.master as unknown as { _handle: { fd: number } })._handle
  let at = 0
  while (at < bytes.length) {
    at += await new Promise<number>((resolve, reject) => {
      write(fd, bytes, at, Math.min(1024, bytes.length - at), null, (error, written) => {
        if (!error) resolve(written)
        else if (error.code === 'EAGAIN') setTimeout(() => resolve(0), 1)
        else reject(error)
      })
    })
  }
}
