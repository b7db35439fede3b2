import type { Command } from 'commander'
import { type CarProfile, type Targets, targetsSchema } from '../../core/contract/car.ts'
import { analyseFile, analyseFileToJson } from '../analysis/analyseFile.ts'
import { fileProblem } from '../bridgeError.ts'
import { CommandFailure, createProgress, print, readJobs, say, sayProblems } from './commandVoice.ts'
import { readJsonFile } from './readJsonFile.ts'
import { readCarFile } from './runParts.ts'
import { shownMixture } from './unitOptions.ts'

interface Flags {
  json?: boolean
  target?: string
  car?: string
  jobs?: string
}

/** Adds `floatbowl analyse RUN…`: the result of each run, as text or as one JSON object a line. */
export function registerAnalyse(program: Command): void {
  program
    .command('analyse')
    .description('what the engine was doing and how far the mixture was from target')
    .argument('<run...>', 'capture files, packed (.gz) or not')
    .option('--json', 'one JSON object a run and line')
    .option(
      '--target <file>',
      'target λ and allowed distance to each side for a state, JSON: {"cruise": {"lambda": 1.02, "rich": 0.04, "lean": 0.04}, …}',
    )
    .option('--car <file>', 'the car’s profile, JSON, in place of the one in the run')
    .option('--jobs <n>', 'runs worked on at a time (default: one a processor)')
    .action(async (paths: string[], flags: Flags) => {
      const jobs = readJobs(flags.jobs)
      const targets = flags.target
        ? await readJsonFile<Targets>(flags.target, targetsSchema.strict())
        : undefined
      const car = flags.car ? await readCarFile(flags.car) : undefined
      if (paths.length >= fewestForThreads && jobs > 1) {
        await analyseInThreads(paths, flags, jobs)
        return
      }
      let failed = 0
      for (const path of paths) {
        try {
          await print(await describe(path, flags.json === true, car, targets))
        } catch (error) {
          failed++
          say(`floatbowl: ${fileProblem(path, error)}`)
        }
      }
      if (failed > 0) throw new CommandFailure(`${failed} of ${paths.length} runs could not be analysed`)
    })
}

/** The result of one run as it is printed. */
async function describe(path: string, isJson: boolean, car?: CarProfile, targets?: Targets): Promise<string> {
  const progress = createProgress(path)
  const options = {
    onProgress: progress.update,
    onProblems: (problems: readonly string[]) => sayProblems(path, { problems }),
    ...(car ? { car } : {}),
    ...(targets ? { targets } : {}),
  }
  try {
    if (isJson) return await analyseFileToJson(path, options)
    const analysis = await analyseFile(path, options)
    const { describeResult } = await import('./describeResult.ts')
    return describeResult(analysis.result, shownMixture(undefined, car, [analysis]))
  } finally {
    progress.end()
  }
}

/** Below this a thread's start costs more than it gains. */
const fewestForThreads = 3

/** Each run in a thread of its own, in the order given; the lines are those of one run after the other. */
async function analyseInThreads(paths: readonly string[], flags: Flags, jobs: number): Promise<void> {
  const { runCommands } = await import('../export/commandWorkers.ts')
  const progress = createProgress(`analysing ${paths.length} runs`)
  const more = [
    ...(flags.json ? ['--json'] : []),
    ...(flags.target === undefined ? [] : ['--target', flags.target]),
    ...(flags.car === undefined ? [] : ['--car', flags.car]),
  ]
  const commands = paths.map((path) => ['analyse', path, ...more])
  let failed = 0
  try {
    await runCommands(commands, jobs, async ({ exitCode, stdout, stderr }, i) => {
      if (exitCode === 0) {
        if (stderr !== '') say(stderr)
        await print(stdout.trimEnd())
      } else {
        failed++
        say(stderr.split('\n')[0] || `floatbowl: ${paths[i]}: failed`)
      }
      progress.update((i + 1) / paths.length)
    })
  } finally {
    progress.end()
  }
  if (failed > 0) throw new CommandFailure(`${failed} of ${paths.length} runs could not be analysed`)
}
