import { randomBytes } from 'node:crypto'
import { mkdir, open, readFile, rename, rm } from 'node:fs/promises'
import { dirname } from 'node:path'
import type * as z from 'zod'
import { BridgeError, errorText, systemCode } from '../bridgeError.ts'
import { syncDirectory } from '../record/captureWriter.ts'

export interface JsonFileOptions<T> {
  path: string
  schema: z.ZodType<T>
  /** What a file that does not exist stands for. */
  empty: () => T
  /** Permission bits; secrets take 0o600. Default 0o644. */
  mode?: number
}

/** A small JSON file that is replaced as a whole: a reader, and a power cut, see the old or the new one, never a half. */
export interface JsonFile<T> {
  /** @throws BridgeError `bad_file` when the file is no JSON of the wanted form */
  read(): Promise<T>
  /** Changes the content; changes of one file wait for each other. */
  update<R>(change: (content: T) => R | Promise<R>): Promise<R>
}

export function createJsonFile<T>({ path, schema, empty, mode = 0o644 }: JsonFileOptions<T>): JsonFile<T> {
  let queue: Promise<unknown> = Promise.resolve()

  const read = async (): Promise<T> => {
    let text: string
    try {
      text = await readFile(path, 'utf8')
    } catch (error) {
      if (systemCode(error) === 'ENOENT') return empty()
      throw error
    }
    const parsed = schema.safeParse(parseJson(text))
    if (!parsed.success) {
      throw new BridgeError('bad_file', `${path} is damaged: mend it by hand or move it away`)
    }
    return parsed.data
  }

  return {
    read,
    update(change) {
      const done = queue.then(async () => {
        const content = await read()
        const answer = await change(content)
        await replaceFile(path, `${JSON.stringify(content, null, 2)}\n`, mode)
        return answer
      })
      // The next change must run whether this one failed or not; its failure goes to its own caller.
      queue = done.catch(() => {})
      return done
    },
  }
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}

/** Writes a new file beside the old one, forces it to the disk, and renames it into place. */
export async function replaceFile(path: string, text: string, mode = 0o644): Promise<void> {
  const directory = dirname(path)
  await mkdir(directory, { recursive: true })
  const draft = `${path}.${randomBytes(6).toString('hex')}.tmp`
  try {
    const file = await open(draft, 'wx', mode)
    try {
      await file.writeFile(text)
      await file.sync()
    } finally {
      await file.close()
    }
    await rename(draft, path)
  } catch (error) {
    await rm(draft, { force: true })
    throw new BridgeError('disk_failed', `${path} could not be saved: ${errorText(error)}`, { cause: error })
  }
  await syncDirectory(directory)
}
