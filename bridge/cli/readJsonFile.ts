import { readFile } from 'node:fs/promises'
import { issueLine, plainIssue } from '../../core/contract/plainIssue.ts'
import { fileProblem } from '../bridgeError.ts'
import { CommandFailure } from './commandVoice.ts'

interface Schema<T> {
  safeParse(
    value: unknown,
    how: { error: typeof plainIssue },
  ):
    | { success: true; data: T }
    | { success: false; error: { issues: readonly { path: PropertyKey[]; message: string }[] } }
}

/**
 * Reads a JSON file that a person wrote.
 * @throws CommandFailure (1) when it cannot be read, (2) for text that is no JSON or does not fit, naming the field
 */
export async function readJsonFile<T>(path: string, schema: Schema<T>): Promise<T> {
  const text = await readFile(path, 'utf8').catch((error: unknown) => {
    throw new CommandFailure(fileProblem(path, error))
  })
  let value: unknown
  try {
    value = JSON.parse(text)
  } catch (error) {
    throw new CommandFailure(`${path}: no JSON: ${(error as Error).message}`, 2)
  }
  const parsed = schema.safeParse(value, { error: plainIssue })
  if (parsed.success) return parsed.data
  throw new CommandFailure(`${path}: ${issueLine(parsed.error.issues[0], 'file')}`, 2)
}
