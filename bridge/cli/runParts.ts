import { readFile } from 'node:fs/promises'
import { type CarProfile, carSchema, type PartsFile, partsFileSchema } from '../../core/contract/car.ts'
import { issueLine, plainIssue } from '../../core/contract/plainIssue.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { analyseFile } from '../analysis/analyseFile.ts'
import { fileProblem } from '../bridgeError.ts'
import { CommandFailure, createProgress, sayProblems } from './commandVoice.ts'

/**
 * Analyses one capture file, packed or not, as it is read.
 * @throws CommandFailure (1) naming the file when it cannot be read or is no capture
 */
export async function analyseRunFile(path: string, car?: CarProfile): Promise<RunAnalysis> {
  const progress = createProgress(path)
  try {
    const analysis = await analyseFile(path, {
      onProgress: progress.update,
      onProblems: (problems: readonly string[]) => sayProblems(path, { problems }),
      ...(car ? { car } : {}),
    })
    return car ? { ...analysis, car } : analysis
  } catch (error) {
    throw new CommandFailure(fileProblem(path, error))
  } finally {
    progress.end()
  }
}

/**
 * Reads a parts file (`{"fitted": …, "box": …}`).
 * @throws CommandFailure (2) for text that is no JSON or does not fit, naming the field
 */
export async function readPartsFile(path: string): Promise<PartsFile> {
  return readJson<PartsFile>(path, (value) => {
    const parsed = partsFileSchema.safeParse(value, { error: plainIssue })
    if (parsed.success && !parsed.data.box && !parsed.data.fitted) {
      return { problem: 'box: missing (expected {"box": {"main_jet": [{"label", "bore_mm"}, …]}})' }
    }
    return parsed.success ? { value: parsed.data } : { problem: issueLine(parsed.error.issues[0], 'file') }
  })
}

/** Reads a car profile. @throws CommandFailure (2) as `readPartsFile` */
export async function readCarFile(path: string): Promise<CarProfile> {
  return readJson<CarProfile>(path, (value) => {
    const parsed = carSchema.safeParse(value, { error: plainIssue })
    return parsed.success ? { value: parsed.data } : { problem: issueLine(parsed.error.issues[0], 'file') }
  })
}

async function readJson<T>(
  path: string,
  check: (value: unknown) => { value: T } | { problem: string },
): Promise<T> {
  let text: string
  try {
    text = await readFile(path, 'utf8')
  } catch (error) {
    throw new CommandFailure(fileProblem(path, error))
  }
  let json: unknown
  try {
    json = JSON.parse(text)
  } catch (error) {
    throw new CommandFailure(`${path}: no JSON: ${(error as Error).message}`, 2)
  }
  const checked = check(json)
  if ('problem' in checked) throw new CommandFailure(`${path}: ${checked.problem}`, 2)
  return checked.value
}
