import { Command, CommanderError } from 'commander'
import packageJson from '../../package.json' with { type: 'json' }
import { lastWords } from '../bridgeError.ts'
import { commands } from './commands.ts'
import { CommandFailure, print, say } from './commandVoice.ts'

/**
 * Runs one command of the command line to its end; what fails is said, not thrown.
 * @param argv the words after the program's name
 * @returns the exit code: 0 done, 1 the work failed, 2 wrong usage
 */
export async function runProgram(argv: readonly string[]): Promise<0 | 1 | 2> {
  const program = await createProgram(argv)
  if (argv.length === 0) {
    program.outputHelp({ error: true })
    return 2
  }
  try {
    await program.parseAsync(argv, { from: 'user' })
    return 0
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

async function createProgram(argv: readonly string[]): Promise<Command> {
  const program = new Command('floatbowl')
    .description('watch, record and set up the mixture of an older car at home')
    .version(packageJson.version)
    .exitOverride()
    .showHelpAfterError('(add --help for the options)')
    .configureOutput({
      writeOut: (text) => void print(text.trimEnd()),
      writeErr: (text) => say(text.trimEnd()),
    })
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
