import { stat } from 'node:fs/promises'
import { boxSchema, type CarProfile, type PartsFile, partsFileSchema } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { analyseFile } from '../analysis/analyseFile.ts'
import { fileProblem } from '../bridgeError.ts'
import { writtenCarSchema } from '../store/writtenCar.ts'
import { CommandFailure, createProgress, keptFolderVariable, sayProblems } from './commandVoice.ts'
import { readJsonFile } from './readJsonFile.ts'

/**
 * Analyses one capture file, packed or not, as it is read.
 * @throws CommandFailure (1) naming the file when it cannot be read or is no capture
 */
export async function analyseRunFile(path: string, car?: CarProfile): Promise<RunAnalysis> {
  const [analysis] = await analyseRunFiles([path], car)
  return analysis
}

/**
 * Analyses capture files one after the other, in their order; where the program's caller keeps analyses, one that still holds is taken from there.
 * @throws CommandFailure (1) naming the file that cannot be read or is no capture
 */
export async function analyseRunFiles(paths: readonly string[], car?: CarProfile): Promise<RunAnalysis[]> {
  const analyse = await analyserOf()
  // What cannot be found is told when its turn comes.
  const bytes = await Promise.all(
    paths.map((path) =>
      stat(path).then(
        ({ size }) => size,
        () => 0,
      ),
    ),
  )
  const allBytes = bytes.reduce((sum, size) => sum + size, 0)
  let doneBytes = 0
  const analyses: RunAnalysis[] = []
  for (const [i, path] of paths.entries()) {
    const progress = createProgress(path, (share) =>
      allBytes > 0 ? (doneBytes + share * bytes[i]) / allBytes : share,
    )
    try {
      const analysis = await analyse(path, {
        onProgress: progress.update,
        onProblems: (problems: readonly string[]) => sayProblems(path, { problems }),
        ...(car ? { car } : {}),
      })
      analyses.push(car ? { ...analysis, car } : analysis)
    } catch (error) {
      throw new CommandFailure(fileProblem(path, error))
    } finally {
      progress.end()
    }
    doneBytes += bytes[i]
  }
  return analyses
}

/** How runs are analysed: through what the caller keeps, if it names a folder for that. */
async function analyserOf(): Promise<typeof analyseFile> {
  const folder = process.env[keptFolderVariable]
  if (!folder) return analyseFile
  const [{ createKeptAnalyses }, { programMark }] = await Promise.all([
    import('../analysis/keptAnalyses.ts'),
    import('../analysis/programMark.ts'),
  ])
  return createKeptAnalyses({ folder, program: programMark() }).analyse
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
export const readCarFile = (path: string): Promise<CarProfile> =>
  readJsonFile<CarProfile>(path, writtenCarSchema)
