#!/usr/bin/env node
import { startThreadAhead } from './analysis/threadAhead.ts'

/** Exit code after an interrupt: 128 + 2, as shells count it. */
const interruptedCode = 130

const argv = process.argv.slice(2)
// The thread of a long analysis comes up while the command line and its schemas are still being read.
startThreadAhead(argv)
// Commands that must close files first (serve, simulate) add their own handler, which takes the place of this one.
process.once('SIGINT', () => {
  if (process.listenerCount('SIGINT') === 0) process.exit(interruptedCode)
})
// A reader that goes away (`| head`) is no failure of ours.
process.stdout.on('error', (error: NodeJS.ErrnoException) => process.exit(error.code === 'EPIPE' ? 0 : 1))

const { runProgram } = await import('./cli/runProgram.ts')
const code = await runProgram(argv)
// After a failure something half-open may still keep the process; after success the output may still be on its way.
if (code !== 0) process.exit(code)
