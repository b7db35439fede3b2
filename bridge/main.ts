#!/usr/bin/env node
import { Command, CommanderError } from 'commander'
import packageJson from '../package.json' with { type: 'json' }
import { lastWords } from './bridgeError.ts'
import { commands } from './cli/commands.ts'
import { CommandFailure, say } from './cli/talk.ts'

/** Exit code after an interrupt: 128 + 2, as shells count it. */
const interruptedCode = 130

async function createProgram(argv: readonly string[]): Promise<Command> {
  const program = new Command('floatbowl')
    .description('watch, record and set up the mixture of an older car at home')
    .version(packageJson.version)
    .exitOverride()
    .showHelpAfterError('(add --help for the options)')
    .configureOutput({ writeErr: (text) => process.stderr.write(text) })
  const first = argv.find((word) => !word.startsWith('-'))
  const wanted = first === 'help' ? argv[argv.indexOf('help') + 1] : first
  for (const entry of commands) {
    if (entry.name === wanted) (await entry.load())(program)
    else program.command(entry.name).description(entry.description).allowUnknownOption()
  }
  for (const command of program.commands) {
    command.version(packageJson.version).exitOverride().showHelpAfterError('(add --help for the options)')
  }
  return program
}

async function main(argv: readonly string[]): Promise<number> {
  // A reader that goes away (`| head`) is no failure of ours.
  process.stdout.on('error', (error: NodeJS.ErrnoException) => process.exit(error.code === 'EPIPE' ? 0 : 1))
  const program = await createProgram(argv)
  if (argv.length === 0) {
    program.outputHelp({ error: true })
    return 2
  }
  try {
    await program.parseAsync(argv, { from: 'user' })
    return typeof process.exitCode === 'number' ? process.exitCode : 0
  } catch (error) {
    if (error instanceof CommanderError) return error.exitCode === 0 ? 0 : 2
    if (error instanceof CommandFailure) {
      say(`floatbowl: ${error.message}`)
      return error.exitCode
    }
    say(`floatbowl: ${lastWords(error)}`)
    if (process.env.FLOATBOWL_TRACE && error instanceof Error) say(error.stack ?? '')
    return 1
  }
}

// Commands that must close files first (serve, simulate) add their own handler, which takes the place of this one.
process.once('SIGINT', () => {
  if (process.listenerCount('SIGINT') === 0) process.exit(interruptedCode)
})

const code = await main(process.argv.slice(2))
// After a failure something half-open may still keep the process; after success the output may still be on its way.
if (code === 1 || code === 2) process.exit(code)
process.exitCode = code
