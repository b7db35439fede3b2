#!/usr/bin/env node
import { runProgram } from './cli/runProgram.ts'

/** Exit code after an interrupt: 128 + 2, as shells count it. */
const interruptedCode = 130

// Commands that must close files first (serve, simulate) add their own handler, which takes the place of this one.
process.once('SIGINT', () => {
  if (process.listenerCount('SIGINT') === 0) process.exit(interruptedCode)
})
// A reader that goes away (`| head`) is no failure of ours.
process.stdout.on('error', (error: NodeJS.ErrnoException) => process.exit(error.code === 'EPIPE' ? 0 : 1))

const code = await runProgram(process.argv.slice(2))
// After a failure something half-open may still keep the process; after success the output may still be on its way.
if (code !== 0) process.exit(code)
process.exitCode ??= 0
