import { join } from 'node:path'
import { type Command, Option } from 'commander'
import { fileProblem } from '../bridgeError.ts'
import type { ExportFormat, ExportOptions } from '../export/exportRun.ts'
import { CommandFailure, createProgress, readJobs, say, sayProblems } from './commandVoice.ts'

interface ExportFlags {
  to: ExportFormat
  out?: string
  rate?: string
  channels?: string
  car?: string
  mapOut?: string
  jobs?: string
  as?: string
}

export function registerExport(program: Command): void {
  program
    .command('export')
    .description('samples of runs, recorded and derived, for a spreadsheet, a notebook or a database')
    .argument('<run...>', 'capture files')
    .addOption(
      new Option('--to <format>', 'csv, parquet, or gpx (the track)')
        .choices(['csv', 'parquet', 'gpx'])
        .makeOptionMandatory(),
    )
    .option(
      '--out <path>',
      'file of one run (default: standard output); directory of several, Parquet by car and day',
    )
    .option('--rate <hz>', "rows a second at most, as means (default: the run's own)")
    .option('--channels <list>', 'columns wanted, e.g. engine_speed,lambda_trusted (default: all)')
    .option('--car <file>', "car profile (JSON) in place of the run's own")
    .option('--map-out <file>', 'also write the line map that reads the CSV back with `floatbowl import`')
    .option('--jobs <n>', 'runs worked on at a time (default: one a processor)')
    .addOption(new Option('--as <name>').hideHelp())
    .action(async (paths: string[], flags: ExportFlags) => {
      const options = await readFlags(flags)
      const intoDirectory = paths.length > 1 || (await isDirectory(flags.out))
      if (intoDirectory && flags.out === undefined) {
        throw new CommandFailure('several runs need a directory: add --out DIR', 2)
      }
      if (flags.mapOut !== undefined && (intoDirectory || flags.to !== 'csv')) {
        throw new CommandFailure('--map-out is for one run to a CSV file', 2)
      }
      if (!intoDirectory) await exportOne(paths[0], flags, options)
      else await exportMany(paths, flags, options)
    })
}

async function readFlags(flags: ExportFlags): Promise<ExportOptions> {
  const rateHz = flags.rate === undefined ? undefined : Number(flags.rate)
  if (rateHz !== undefined && !(rateHz > 0 && rateHz <= 10_000)) {
    throw new CommandFailure(`invalid --rate: ${flags.rate} (expected rows a second, e.g. 10)`, 2)
  }
  const channels = flags.channels
    ?.split(',')
    .map((name) => name.trim())
    .filter((name) => name !== '')
  if (channels?.length === 0) throw new CommandFailure('--channels names none', 2)
  const { readCarFile } = await import('./runParts.ts')
  return {
    to: flags.to,
    ...(rateHz === undefined ? {} : { rateHz }),
    ...(channels ? { channels } : {}),
    ...(flags.car === undefined ? {} : { car: await readCarFile(flags.car) }),
    ...(flags.as === undefined ? {} : { name: flags.as }),
  }
}

async function isDirectory(out: string | undefined): Promise<boolean> {
  if (out === undefined) return false
  if (/[/\\]$/.test(out)) return true
  const { stat } = await import('node:fs/promises')
  return (await stat(out).catch(() => undefined))?.isDirectory() ?? false
}

/** One run to a file or to standard output. */
async function exportOne(path: string, flags: ExportFlags, options: ExportOptions): Promise<void> {
  const { loadTable, mapText, streamTable, writeTable } = await import('../export/exportRun.ts')
  const progress = createProgress(path)
  const onProgress = (share: number) => progress.update(share)
  try {
    if (flags.out === undefined && flags.mapOut === undefined) {
      if (flags.to === 'parquet' && process.stdout.isTTY) {
        throw new CommandFailure('Parquet is no text: add --out FILE', 2)
      }
      const table = await loadTable(path, { ...options, onProgress })
      sayProblems(path, table.analysis.result.run)
      await streamTable(table, process.stdout, flags.to)
      return
    }
    if (flags.out === undefined) throw new CommandFailure('--map-out needs --out FILE', 2)
    const table = await loadTable(path, { ...options, onProgress })
    sayProblems(path, table.analysis.result.run)
    await writeTable(table, flags.out, flags.to)
    if (flags.mapOut !== undefined) {
      const { writeFile } = await import('node:fs/promises')
      await writeFile(flags.mapOut, mapText(table))
    }
  } catch (error) {
    throw asFailure(path, error)
  } finally {
    progress.end()
  }
}

function asFailure(path: string, error: unknown): CommandFailure {
  if (error instanceof CommandFailure) return error
  const isUsage = (error as { code?: unknown }).code === 'no_such_channel'
  return new CommandFailure(fileProblem(path, error), isUsage ? 2 : 1)
}

/** Several runs into a directory, in threads; a run that cannot be exported is told and the others go on. */
async function exportMany(
  paths: readonly string[],
  flags: ExportFlags,
  options: ExportOptions,
): Promise<void> {
  const { uniqueNames } = await import('../export/season.ts')
  const out = flags.out as string
  const names = flags.as === undefined ? uniqueNames(paths) : [flags.as]
  const jobs = readJobs(flags.jobs)
  const progress = createProgress(`exporting ${paths.length} runs`)
  let failed = 0
  const complain = (text: string) => {
    failed++
    say(text)
  }
  try {
    if (paths.length === 1) {
      await exportInto(paths[0], out, names[0], options).catch((error: unknown) => {
        complain(`floatbowl: ${fileProblem(paths[0], error)}`)
      })
    } else {
      const { runCommands } = await import('../export/commandWorkers.ts')
      const commands = paths.map((path, i) => [
        ...['export', path, '--to', flags.to, '--out', join(out, '/'), '--as', names[i]],
        ...(flags.rate === undefined ? [] : ['--rate', flags.rate]),
        ...(flags.channels === undefined ? [] : ['--channels', flags.channels]),
        ...(flags.car === undefined ? [] : ['--car', flags.car]),
      ])
      await runCommands(commands, jobs, ({ exitCode, stderr }, i) => {
        if (exitCode === 0 && stderr !== '') say(stderr)
        if (exitCode !== 0) complain(stderr.split('\n')[0] || `floatbowl: ${paths[i]}: failed`)
        progress.update((i + 1) / paths.length)
      })
    }
  } finally {
    progress.end()
  }
  if (failed > 0) throw new CommandFailure(`${failed} of ${paths.length} runs could not be exported`)
}

async function exportInto(path: string, directory: string, name: string, options: ExportOptions) {
  const { loadTable, writeTable } = await import('../export/exportRun.ts')
  const table = await loadTable(path, { ...options, name })
  sayProblems(path, table.analysis.result.run)
  let file = `${name}.${options.to}`
  if (options.to === 'parquet') {
    const { seasonPath } = await import('../export/season.ts')
    const { run } = table.analysis.result
    file = seasonPath(name, run.car, run.start)
  }
  await writeTable(table, join(directory, file), options.to)
}
