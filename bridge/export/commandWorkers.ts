import { pathToFileURL } from 'node:url'
import { startWorker } from '../analysis/startThread.ts'

/** What one command, run in a worker thread, came to. */
export interface CommandOutcome {
  readonly exitCode: number
  readonly stdout: string
  readonly stderr: string
}

/** Kept of a worker's messages, characters. */
const mostMessage = 10_000

/**
 * Runs commands of this program in worker threads, several at a time, each command in a thread of its own, so that its memory is given back when it ends.
 * @param commands the words of each command
 * @param jobs threads at a time, at least 1
 * @param onDone called as each ends, in the order given, whatever the order of ending
 * @param entry file of the program, default the one that runs
 */
export async function runCommands(
  commands: readonly (readonly string[])[],
  jobs: number,
  onDone: (outcome: CommandOutcome, index: number) => void | Promise<void>,
  entry: string = process.argv[1],
): Promise<void> {
  const outcomes = new Map<number, CommandOutcome>()
  let next = 0
  let told = 0
  const tell = async () => {
    for (let outcome = outcomes.get(told); outcome; outcome = outcomes.get(told)) {
      outcomes.delete(told)
      await onDone(outcome, told++)
    }
  }
  let telling = Promise.resolve()
  const work = async () => {
    while (next < commands.length) {
      const index = next++
      outcomes.set(index, await runCommand(entry, commands[index]))
      telling = telling.then(tell)
      await telling
    }
  }
  await Promise.all(Array.from({ length: Math.max(1, Math.min(jobs, commands.length)) }, work))
}

function runCommand(entry: string, words: readonly string[]): Promise<CommandOutcome> {
  return new Promise((resolve) => {
    const worker = startWorker(pathToFileURL(entry), {
      argv: [...words],
      stdout: true,
      stderr: true,
      env: { ...process.env, NO_COLOR: '1' },
    })
    const parts: Buffer[] = []
    let message = ''
    worker.stdout.on('data', (part: Buffer) => parts.push(Buffer.from(part)))
    worker.stderr.on('data', (part: Buffer) => {
      if (message.length < mostMessage) message += part.toString('utf8')
    })
    worker.on('error', (error) => {
      message += error.message
    })
    worker.on('exit', (exitCode) => {
      resolve({ exitCode, stdout: Buffer.concat(parts).toString('utf8'), stderr: message.trim() })
    })
  })
}
