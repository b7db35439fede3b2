import type { Worker } from 'node:worker_threads'
import { startThread } from '../analysis/startThread.ts'
import type { CommandOutcome } from '../cli/commandThread.ts'

/** Commands that a thread runs before a fresh one takes its place, so that no memory is held for long; chosen here. */
const mostInOneThread = 50

/**
 * Runs commands of this program in worker threads, several at a time.
 * @param commands the words of each command
 * @param jobs threads at a time, at least 1
 * @param onDone called as each ends, in the order given, whatever the order of ending
 */
export async function runCommands(
  commands: readonly (readonly string[])[],
  jobs: number,
  onDone: (outcome: CommandOutcome, index: number) => void | Promise<void>,
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
    let worker: Worker | undefined
    try {
      for (let count = 0; next < commands.length; count++) {
        if (count % mostInOneThread === 0) {
          void worker?.terminate()
          worker = startThread('cli/commandThread', { env: { ...process.env, NO_COLOR: '1' } })
        }
        const index = next++
        const outcome = await runCommand(worker!, commands[index])
        // A thread that died is no use any more: the next command gets a new one.
        if (!outcome.isAlive) count = -1
        outcomes.set(index, outcome)
        telling = telling.then(tell)
        await telling
      }
    } finally {
      void worker?.terminate()
    }
  }
  await Promise.all(Array.from({ length: Math.max(1, Math.min(jobs, commands.length)) }, work))
}

/** What one command came to, and whether its thread can take another. */
interface ThreadOutcome extends CommandOutcome {
  readonly isAlive: boolean
}

function runCommand(worker: Worker, words: readonly string[]): Promise<ThreadOutcome> {
  return new Promise((resolve) => {
    const settle = (outcome: ThreadOutcome) => {
      worker.off('message', onMessage).off('error', onError).off('exit', onExit)
      resolve(outcome)
    }
    const died = (stderr: string) => settle({ exitCode: 1, stdout: '', stderr, isAlive: false })
    const onMessage = (outcome: CommandOutcome) => settle({ ...outcome, isAlive: true })
    const onError = (error: unknown) =>
      died(`floatbowl: ${error instanceof Error ? error.message : String(error)}`)
    const onExit = () => died(`floatbowl: ${words.slice(0, 2).join(' ')}: its thread ended early`)
    worker.on('message', onMessage).on('error', onError).on('exit', onExit)
    worker.postMessage(words)
  })
}
