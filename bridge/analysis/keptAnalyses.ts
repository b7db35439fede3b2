import { createHash } from 'node:crypto'
import { mkdir, readdir, readFile, rename, rm, stat, utimes, writeFile } from 'node:fs/promises'
import { join, resolve } from 'node:path'
import { deserialize, serialize } from 'node:v8'
import type { CarProfile } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type AnalyseFileOptions, analyseFile } from './analyseFile.ts'

/** Bytes of analyses kept at most: two hours of driving take some two millions. */
export const mostKeptBytes = 256e6

export interface KeptAnalysesOptions {
  /** Where they lie; made when it is not there. */
  folder: string
  /** Mark of the program: another one's analyses are none of ours. */
  program: string
  /** How a run is worked out. Default: `analyseFile`. */
  analyse?: typeof analyseFile
  mostBytes?: number
}

export interface KeptAnalyses {
  /** The analysis of a run, as `analyseFile` gives it; targets of the caller's are never kept. @throws as `analyseFile` */
  analyse(path: string, options?: AnalyseFileOptions): Promise<RunAnalysis>
}

/** What is written: the analysis, and what must be the same for it to hold. */
interface Kept {
  marks: string
  problems: readonly string[]
  analysis: RunAnalysis
}

/**
 * Analyses that stay on disk, so that a run is worked out once and not at each advice. An analysis holds only while the run's file (its size, its times of
 * change, its place on the disk), the car's profile and the program are what they were; the system's own time of change moves with every write, and no
 * program can set it back. What cannot be read or written is worked out as if nothing were kept.
 */
export function createKeptAnalyses({
  folder,
  program,
  analyse = analyseFile,
  mostBytes = mostKeptBytes,
}: KeptAnalysesOptions): KeptAnalyses {
  return {
    async analyse(path, options = {}) {
      if (options.targets) return await analyse(path, options)
      const place = join(folder, nameOf(path, options.car))
      const marks = await marksOf(path, options.car, program)
      const kept = await readKept(place)
      if (kept && kept.marks === marks) {
        if (kept.problems.length > 0) options.onProblems?.(kept.problems)
        const now = new Date()
        await utimes(place, now, now).catch(leaveIt)
        return kept.analysis
      }
      let problems: readonly string[] = []
      const analysis = await analyse(path, {
        ...options,
        onProblems(list) {
          problems = list
          options.onProblems?.(list)
        },
      })
      // A run that grew meanwhile is not what was analysed.
      if ((await marksOf(path, options.car, program)) !== marks) return analysis
      await write(place, folder, { marks, problems, analysis }).then(() => bound(folder, mostBytes), leaveIt)
      return analysis
    },
  }
}

/** Nothing depends on what is kept: a full or closed disk costs time alone. */
const leaveIt = () => {}

const hashOf = (text: string) => createHash('sha256').update(text).digest('hex')

/** One file a run, and one more for the profile that is held beside the runs. */
const nameOf = (path: string, car: CarProfile | undefined) =>
  `${hashOf(`${resolve(path)}\n${car ? 'profile' : ''}`).slice(0, 32)}.analysis`

async function marksOf(path: string, car: CarProfile | undefined, program: string): Promise<string> {
  const { size, mtimeNs, ctimeNs, ino, dev } = await stat(path, { bigint: true })
  return hashOf([path, size, mtimeNs, ctimeNs, ino, dev, JSON.stringify(car ?? null), program].join('\n'))
}

async function readKept(place: string): Promise<Kept | undefined> {
  try {
    const kept = deserialize(await readFile(place)) as Partial<Kept> | null
    return kept && typeof kept === 'object' && kept.marks && kept.analysis ? (kept as Kept) : undefined
  } catch {
    return undefined
  }
}

/** In one piece or not at all. */
async function write(place: string, folder: string, kept: Kept): Promise<void> {
  await mkdir(folder, { recursive: true })
  const draft = `${place}.${process.pid}.draft`
  try {
    await writeFile(draft, serialize(kept))
    await rename(draft, place)
  } catch (error) {
    await rm(draft, { force: true })
    throw error
  }
}

/** Takes out what was not asked for longest, until the rest is small enough. */
async function bound(folder: string, mostBytes: number): Promise<void> {
  const files = await Promise.all(
    (await readdir(folder)).map(async (name) => {
      const { size, mtimeMs } = await stat(join(folder, name))
      return { name, size, mtimeMs }
    }),
  )
  let bytes = files.reduce((sum, { size }) => sum + size, 0)
  for (const { name, size } of files.sort((a, b) => a.mtimeMs - b.mtimeMs)) {
    if (bytes <= mostBytes) return
    await rm(join(folder, name), { force: true })
    bytes -= size
  }
}
