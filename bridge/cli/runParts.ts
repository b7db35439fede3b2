import {
  boxSchema,
  type CarProfile,
  carSchema,
  type PartsFile,
  partsFileSchema,
} from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { analyseFile } from '../analysis/analyseFile.ts'
import { fileProblem } from '../bridgeError.ts'
import { CommandFailure, createProgress, sayProblems } from './commandVoice.ts'
import { readJsonFile } from './readJsonFile.ts'

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

/** Reads a parts file (`{"fitted": …, "box": …}`), or a box alone. @throws CommandFailure as `readJsonFile` */
export async function readPartsFile(path: string): Promise<PartsFile> {
  const parts = await readJsonFile<PartsFile>(path, partsFileSchema)
  if (!parts.box && !parts.fitted) {
    const alone = boxSchema.safeParse(parts)
    if (alone.success && Object.keys(alone.data).length > 0) return { box: alone.data }
    throw new CommandFailure(
      `${path}: box: missing (expected {"box": {"main_jet": [{"label", "bore_mm"}, …]}})`,
      2,
    )
  }
  return parts
}

/** Reads a car profile. @throws CommandFailure as `readJsonFile` */
export const readCarFile = (path: string): Promise<CarProfile> => readJsonFile<CarProfile>(path, carSchema)
