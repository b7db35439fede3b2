import type { Command } from 'commander'

/** One command of the command line: its code is loaded only when it is called, so that each starts fast. */
export interface CommandEntry {
  readonly name: string
  readonly description: string
  /** Loads the command's file and adds the command to the program. */
  readonly load: () => Promise<(program: Command) => void>
}

/** All commands, in the order of the help text. */
export const commands: readonly CommandEntry[] = [
  {
    name: 'serve',
    description: 'show the live page, record, and answer for runs',
    load: async () => (await import('./serve.ts')).registerServe,
  },
  {
    name: 'ports',
    description: 'list serial ports, and which speaks what',
    load: async () => (await import('./ports.ts')).registerPorts,
  },
  {
    name: 'check',
    description: 'integrity of a run: lines, bad checksums, missing samples, torn end',
    load: async () => (await import('./check.ts')).registerCheck,
  },
]
