import { availableParallelism } from 'node:os'

/** Ends a command with a message on standard error and an exit code: 1 the work failed, 2 wrong usage. */
export class CommandFailure extends Error {
  readonly exitCode: 1 | 2

  constructor(message: string, exitCode: 1 | 2 = 1) {
    super(message)
    this.name = 'CommandFailure'
    this.exitCode = exitCode
  }
}

/** Where a command's words go. */
export interface Voice {
  /** A result; done when it has been taken. */
  print(text: string): Promise<void>
  /** Anything else. */
  say(text: string): void
}

let voice: Voice = {
  print: (text) =>
    new Promise((resolve, reject) => {
      process.stdout.write(text, (error) => (error ? reject(error) : resolve()))
    }),
  say: (text) => process.stderr.write(text),
}

/** Lets commands of this thread speak through another voice than its standard output and error. */
export function speakThrough(other: Voice): void {
  voice = other
}

/** Writes a result to standard output and waits until the pipe has taken it. */
export function print(text: string): Promise<void> {
  return voice.print(`${text}\n`)
}

/** Says something that is no result: to standard error. */
export function say(text: string): void {
  voice.say(`${text}\n`)
}

/** Says what of a run could not be used, as its result tells. */
export function sayProblems(path: string, run: Readonly<Record<string, unknown>>): void {
  const { problems } = run
  if (Array.isArray(problems)) for (const problem of problems) say(`${path}: ${String(problem)}`)
}

/** True when colour and moving progress may be written to standard error. */
export function isFancy(): boolean {
  return process.stderr.isTTY === true && !process.env.NO_COLOR && process.env.TERM !== 'dumb'
}

/** Work shorter than this shows no progress. */
const quietMs = 1000
const redrawMs = 200

/** Set by a program that runs a command and wants to hear how far it is: lines of `progressMark` and a share on standard error. */
export const progressVariable = 'FLOATBOWL_PROGRESS'
export const progressMark = '\u001eprogress '
/** Set by a program that runs commands again and again: the folder in which analyses of runs are kept. */
export const keptFolderVariable = 'FLOATBOWL_KEPT'

/**
 * A progress line on a terminal, for work over a second, or lines for a program that asked for them; silent elsewhere.
 * @param wholeOf the share of the whole work that a share of this part stands for
 */
export function createProgress(
  label: string,
  wholeOf: (share: number) => number = (share) => share,
): { update(share: number): void; end(): void } {
  const startMs = Date.now()
  const isTold = process.env[progressVariable] !== undefined
  let shownMs = 0
  let hasLine = false
  return {
    update(share) {
      const now = Date.now()
      if (now - shownMs < redrawMs) return
      if (isTold) {
        shownMs = now
        process.stderr.write(`${progressMark}${wholeOf(share).toFixed(3)}\n`)
        return
      }
      if (!process.stderr.isTTY || now - startMs < quietMs) return
      shownMs = now
      hasLine = true
      process.stderr.write(`\r${label} ${Math.round(100 * Math.min(1, Math.max(0, share)))} %`)
    },
    end() {
      if (hasLine) process.stderr.write(`\r${' '.repeat(label.length + 6)}\r`)
    },
  }
}

/** Reads `--jobs`: runs worked on at a time, by default one a processor. @throws CommandFailure 2 for anything else */
export function readJobs(text: string | undefined): number {
  if (text === undefined) return availableParallelism()
  const jobs = Number(text)
  if (Number.isInteger(jobs) && jobs >= 1 && jobs <= 256) return jobs
  throw new CommandFailure(`invalid --jobs: ${text} (expected a whole number from 1 to 256)`, 2)
}
