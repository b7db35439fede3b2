import { readFile } from 'node:fs/promises'
import type { LineMap } from '../../core/line/lineMap.ts'
import { errorText, fileProblem } from '../bridgeError.ts'
import { CommandFailure } from './commandVoice.ts'

/** Reads a line map from a file. @throws CommandFailure 1 when it cannot be read, 2 when it is no line map, with the first fault */
export async function readMapFile(path: string): Promise<LineMap> {
  const text = await readFile(path, 'utf8').catch((error: unknown) => {
    throw new CommandFailure(fileProblem(path, error))
  })
  const { parseLineMap } = await import('../../core/line/lineMap.ts')
  try {
    return parseLineMap(text)
  } catch (error) {
    throw new CommandFailure(`${path}: ${errorText(error)}`, 2)
  }
}
