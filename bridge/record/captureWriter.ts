import { randomBytes } from 'node:crypto'
import { access, type FileHandle, link, open, rename, rm } from 'node:fs/promises'
import { basename, dirname, join } from 'node:path'
import { BridgeError, errorText, systemCode } from '../bridgeError.ts'

/** The calls a writer makes on its file; a test hands in one that fails. */
export interface CaptureFile {
  /** Writes all bytes at the end. */
  append(bytes: Uint8Array): Promise<void>
  /** Returns once the data are on the disk. */
  sync(): Promise<void>
  close(): Promise<void>
}

/**
 * Opens a new file that begins with some text; fails when it exists. The name appears only once the text is on the disk, so that no kill
 * leaves a file that cannot be read.
 */
export type OpenCaptureFile = (path: string, beginning: string) => Promise<CaptureFile>

export const openCaptureFile: OpenCaptureFile = async (path, beginning) => {
  const draft = join(dirname(path), `.${basename(path)}.${randomBytes(4).toString('hex')}.part`)
  const file = await open(draft, 'ax', 0o644)
  try {
    await file.writeFile(beginning)
    await file.datasync()
    await giveName(draft, path)
  } catch (error) {
    await file.close()
    await rm(draft, { force: true })
    throw error
  }
  await syncDirectory(dirname(path))
  return {
    async append(bytes) {
      let done = 0
      while (done < bytes.length) done += (await file.write(bytes, done)).bytesWritten
    },
    sync: () => file.datasync(),
    close: () => file.close(),
  }
}

/** Names a file without ever taking the place of another. @throws a system error `EEXIST` when the name is taken */
async function giveName(draft: string, path: string): Promise<void> {
  try {
    await link(draft, path)
    await rm(draft)
  } catch (error) {
    if (systemCode(error) === 'EEXIST') throw error
    // Memory cards know no second name of a file: look first, then rename.
    await access(path).then(
      () => Promise.reject(Object.assign(new Error(`${path} exists`), { code: 'EEXIST' })),
      () => rename(draft, path),
    )
  }
}

/** Makes a new name in a directory survive a power cut, where the system can. */
export async function syncDirectory(path: string): Promise<void> {
  let directory: FileHandle | undefined
  try {
    directory = await open(path, 'r')
    await directory.sync()
  } catch {
    // Windows opens no directories; the name is then as safe as the system makes it.
  } finally {
    await directory?.close()
  }
}

export interface CaptureWriterOptions {
  /** Text is handed to the system this often, ms: what a kill can cost. Default 200. */
  writeEveryMs?: number
  /** Data are forced to the disk this often, ms: what a power cut can cost, at most 1 s with the former. Default 700. */
  syncEveryMs?: number
  /** Most characters that wait for a slow disk before recording gives up. Default 16 million. */
  waitingCharacters?: number
}

export const defaultCaptureWriter = Object.freeze({
  writeEveryMs: 200,
  syncEveryMs: 700,
  waitingCharacters: 16_000_000,
})

/** Text handed over in one write; a full buffer does not wait for the timer. */
const writeAtCharacters = 64 * 1024

/** Appends text to a capture file: bounded in memory, written 5 times a second, forced to the disk at least once a second. */
export class CaptureWriter {
  readonly #file: CaptureFile
  readonly #limits: Required<CaptureWriterOptions>
  readonly #onFailure: (error: BridgeError) => void
  readonly #timer: NodeJS.Timeout
  #waiting: string[] = []
  #waitingCharacters = 0
  #bytes = 0
  #work: Promise<void> = Promise.resolve()
  #isBusy = false
  #failed = false
  #lastSyncMs = performance.now()
  #unsynced = false

  constructor(
    file: CaptureFile,
    onFailure: (error: BridgeError) => void,
    options: CaptureWriterOptions = {},
  ) {
    this.#file = file
    this.#onFailure = onFailure
    this.#limits = { ...defaultCaptureWriter, ...options }
    this.#timer = setInterval(() => this.#kick(), this.#limits.writeEveryMs)
  }

  /** Bytes written or waiting. */
  get bytes(): number {
    return this.#bytes
  }

  add(text: string): void {
    if (this.#failed) return
    this.#waiting.push(text)
    this.#waitingCharacters += text.length
    // Capture lines are ASCII but for JSON texts, where this is a lower bound: it is for show only.
    this.#bytes += text.length
    if (this.#waitingCharacters > this.#limits.waitingCharacters) {
      this.#fail(
        new BridgeError('disk_slow', 'the disk is too slow: recording stopped, the run so far is kept'),
      )
    } else if (this.#waitingCharacters >= writeAtCharacters) {
      this.#kick()
    }
  }

  /** Writes what waits, forces it to the disk and closes the file. */
  async close(): Promise<void> {
    clearInterval(this.#timer)
    // A write that ends with a full buffer starts the next one.
    while (this.#isBusy) await this.#work
    if (!this.#failed) {
      this.#lastSyncMs = Number.NEGATIVE_INFINITY
      this.#unsynced = true
      await this.#write()
    }
    await this.#file.close().catch(() => {
      // Nothing more can be done for a file that does not close; what was synced is on the disk.
    })
  }

  #kick(): void {
    if (this.#isBusy || this.#failed) return
    this.#isBusy = true
    this.#work = this.#write().finally(() => {
      this.#isBusy = false
      if (this.#waitingCharacters >= writeAtCharacters) this.#kick()
    })
  }

  async #write(): Promise<void> {
    try {
      if (this.#waiting.length > 0) {
        const bytes = Buffer.from(this.#waiting.join(''), 'utf8')
        this.#waiting = []
        this.#waitingCharacters = 0
        this.#unsynced = true
        await this.#file.append(bytes)
      }
      if (this.#unsynced && performance.now() - this.#lastSyncMs >= this.#limits.syncEveryMs) {
        this.#unsynced = false
        this.#lastSyncMs = performance.now()
        await this.#file.sync()
      }
    } catch (error) {
      this.#fail(explainDiskProblem(error))
    }
  }

  #fail(error: BridgeError): void {
    if (this.#failed) return
    this.#failed = true
    this.#waiting = []
    this.#waitingCharacters = 0
    clearInterval(this.#timer)
    this.#onFailure(error)
  }
}

/** A message for a failed write, that says what became of the run and what to do. */
export function explainDiskProblem(error: unknown): BridgeError {
  const code = systemCode(error)
  if (code === 'ENOSPC' || code === 'EDQUOT' || code === 'EFBIG') {
    return new BridgeError(
      'disk_full',
      'disk full: recording stopped, the run so far is kept and readable; free some space and record again',
      { cause: error },
    )
  }
  if (code === 'EACCES' || code === 'EPERM' || code === 'EROFS') {
    return new BridgeError(
      'disk_failed',
      `the data directory cannot be written (${errorText(error)}): give this user the right to, or start with --data DIR`,
      { cause: error },
    )
  }
  return new BridgeError('disk_failed', `recording stopped: ${errorText(error)}`, { cause: error })
}
