import { parentPort } from 'node:worker_threads'
import { speakThrough } from './commandVoice.ts'
import { runProgram } from './runProgram.ts'

/*
 * Commands of the command line, one after the other in a thread: what the first had to load and to warm up serves all.
 */

/** What one command came to. */
export interface CommandOutcome {
  readonly exitCode: number
  readonly stdout: string
  readonly stderr: string
}

/** Kept of what a command says besides its result, characters. */
const mostSaid = 10_000

const outcome = { stdout: [] as string[], stderr: '' }
speakThrough({
  print: async (text) => {
    outcome.stdout.push(text)
  },
  say: (text) => {
    if (outcome.stderr.length < mostSaid) outcome.stderr += text
  },
})

parentPort!.on('message', async (words: readonly string[]) => {
  const exitCode = await runProgram(words)
  const told: CommandOutcome = {
    exitCode,
    stdout: outcome.stdout.splice(0).join(''),
    stderr: outcome.stderr.trim(),
  }
  outcome.stderr = ''
  parentPort!.postMessage(told)
})
