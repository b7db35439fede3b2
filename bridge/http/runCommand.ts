import { spawn } from 'node:child_process'
import { createRequire } from 'node:module'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import { pathToFileURL } from 'node:url'
import { keptFolderVariable, progressMark, progressVariable } from '../cli/commandVoice.ts'
import { findPackageRoot } from '../packageRoot.ts'
import { HttpProblem } from './problem.ts'

/** Work of this size and time is a fault: an hour's run takes a second. */
const longestMs = 120_000
const mostOutputBytes = 64_000_000
/** Work that goes on at a time; the machine must keep a core for the live view. */
const mostAtOnce = 1
/** Where analyses are kept in the data directory; no car and no run has such a name. */
const keptFolder = '.analyses'
/** Kept of what a command says besides its result, characters. */
const mostSaid = 10_000
/** Requests that may wait. */
const mostWaiting = 16

/**
 * Runs a command of the command line in a process of its own, so that an hour of samples never holds up the live view, and a page gets
 * the very result that the command line prints.
 */
export class CommandRunner {
  readonly #directory: string
  #running = 0
  readonly #waiting: (() => void)[] = []

  /** @param directory where relative paths lie: the data directory */
  constructor(directory: string) {
    this.#directory = directory
  }

  /**
   * Runs `floatbowl …words` and answers with its standard output.
   * @param onProgress told now and then how much is done, 0 to 1
   * @throws HttpProblem 501 for a command that is not built in, 422 when the work fails, 503 when too much waits
   */
  async run(words: readonly string[], onProgress: (share: number) => void = () => {}): Promise<string> {
    await this.#enter()
    try {
      return await runOnce(words, this.#directory, onProgress)
    } finally {
      this.#running--
      this.#waiting.shift()?.()
    }
  }

  async #enter(): Promise<void> {
    if (this.#running >= mostAtOnce) {
      if (this.#waiting.length >= mostWaiting) {
        throw new HttpProblem(503, 'busy', 'too much is being worked out: try again in a minute')
      }
      await new Promise<void>((resolve) => this.#waiting.push(resolve))
    }
    this.#running++
  }
}

/** How this program is started again, from the bundle or from its sources. */
function programWords(): string[] {
  const root = findPackageRoot()
  if (!import.meta.url.endsWith('.ts')) return [join(root, 'dist', 'node', 'floatbowl.js')]
  const loader = pathToFileURL(createRequire(import.meta.url).resolve('tsx')).href
  return ['--import', loader, join(root, 'bridge', 'main.ts')]
}

function runOnce(
  words: readonly string[],
  cwd: string,
  onProgress: (share: number) => void,
): Promise<string> {
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [...programWords(), ...words], {
      cwd,
      stdio: ['ignore', 'pipe', 'pipe'],
      env: {
        ...process.env,
        NO_COLOR: '1',
        [progressVariable]: '1',
        [keptFolderVariable]: join(cwd, keptFolder),
      },
    })
    const parts: Buffer[] = []
    let bytes = 0
    let complaint = ''
    const timer = setTimeout(() => child.kill('SIGKILL'), longestMs)
    child.stdout.on('data', (part: Buffer) => {
      bytes += part.length
      if (bytes > mostOutputBytes) child.kill('SIGKILL')
      else parts.push(part)
    })
    const lines = createInterface({ input: child.stderr })
    lines.on('line', (line) => {
      if (line.startsWith(progressMark)) onProgress(Number(line.slice(progressMark.length)))
      else if (complaint.length < mostSaid) complaint += `${line}\n`
    })
    child.on('error', (error) => {
      clearTimeout(timer)
      reject(error)
    })
    child.on('close', (code) => {
      clearTimeout(timer)
      if (code === 0) resolve(Buffer.concat(parts).toString('utf8'))
      else reject(explainFailure(words[0], code, complaint))
    })
  })
}

function explainFailure(command: string, code: number | null, complaint: string): HttpProblem {
  if (/unknown command/.test(complaint)) {
    return new HttpProblem(501, 'not_built_in', `this build has no ${command}`)
  }
  if (code === null) return new HttpProblem(503, 'too_long', `${command} took too long and was ended`)
  const line = complaint.trim().split('\n')[0] ?? ''
  return new HttpProblem(422, 'work_failed', line.replace(/^floatbowl: /, '') || `${command} failed`)
}
