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
    name: 'simulate',
    description: 'a simulated drive of an invented car: to a file, a pseudo-terminal or a network port',
    load: async () => (await import('./simulate.ts')).registerSimulate,
  },
  {
    name: 'check',
    description: 'integrity of a run: lines, bad checksums, missing samples, torn end',
    load: async () => (await import('./check.ts')).registerCheck,
  },
  {
    name: 'analyse',
    description: 'what the engine was doing and how far the mixture was from target',
    load: async () => (await import('./analyse.ts')).registerAnalyse,
  },
  {
    name: 'compare',
    description: 'is run B different from A: where, by how much, how sure',
    load: async () => (await import('./compare.ts')).registerCompare,
  },
  {
    name: 'advise',
    description: 'the next change, from this run and earlier ones',
    load: async () => (await import('./advise.ts')).registerAdvise,
  },
  {
    name: 'report',
    description: 'printable sheet of a run',
    load: async () => (await import('./report.ts')).registerReport,
  },
  {
    name: 'export',
    description: 'samples of runs, recorded and derived, for a spreadsheet, a notebook or a database',
    load: async () => (await import('./export.ts')).registerExport,
  },
  {
    name: 'import',
    description: 'a delimited log of another source becomes a run',
    load: async () => (await import('./import.ts')).registerImport,
  },
  {
    name: 'gas',
    description: 'λ from four or five exhaust gases (Brettschneider)',
    load: async () => (await import('./gas.ts')).registerGas,
  },
]
