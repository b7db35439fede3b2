import { lstat, realpath } from 'node:fs/promises'
import { join, sep } from 'node:path'

/** One safe path segment each: no separator, no leading dot, nothing a file system could take for another name. */
export const carIdPattern = /^[a-z0-9][a-z0-9_-]{0,39}$/
export const sessionPattern = /^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$/
export const runFilePattern = /^[A-Za-z0-9][A-Za-z0-9_.-]{0,79}\.capture(\.gz)?$/

/** The parts of a run's id `car/session/file`. */
export interface RunParts {
  car: string
  session: string
  file: string
}

/** Takes a run id apart; undefined when any part could leave the data directory or is no run. */
export function parseRunId(id: string): RunParts | undefined {
  const [car, session, file, ...more] = id.split('/')
  if (more.length > 0 || !carIdPattern.test(car ?? '') || !sessionPattern.test(session ?? ''))
    return undefined
  if (!runFilePattern.test(file ?? '') || file.includes('..')) return undefined
  return { car, session, file }
}

/** Path of a run inside the data directory, or undefined when there is none, or a link leads outside. */
export async function findRunPath(dataDir: string, parts: RunParts): Promise<string | undefined> {
  const path = join(dataDir, parts.car, parts.session, parts.file)
  try {
    const root = await realpath(dataDir)
    const real = await realpath(path)
    if (!real.startsWith(root + sep)) return undefined
    return (await lstat(real)).isFile() ? real : undefined
  } catch {
    return undefined
  }
}
