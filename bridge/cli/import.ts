import type { Command } from 'commander'
import { airSchema } from '../../core/contract/car.ts'
import type { CaptureRecord } from '../../core/contract/records.ts'
import packageJson from '../../package.json' with { type: 'json' }
import { errorText } from '../bridgeError.ts'
import type { ImportReport } from '../import/importLog.ts'
import { CommandFailure, createProgress, print, say } from './commandVoice.ts'
import { readMapFile } from './readMapFile.ts'

interface ImportFlags {
  map: string
  out: string
  at?: string
  car?: string
  parts?: string
  air?: string
  freeAir?: string
  title?: string
  json?: boolean
}

export function registerImport(program: Command): void {
  program
    .command('import')
    .description('a delimited log of another source becomes a run')
    .argument('<file>', 'log, packed with gzip or not')
    .requiredOption('--map <file>', 'line map (JSON): which field is which channel')
    .requiredOption('--out <run>', 'capture file to make, e.g. 20260517T081203Z.capture')
    .option('--at <time>', 'start, ISO 8601 (default: the log, or the date of the file)')
    .option('--car <file>', 'car profile (JSON) to keep with the run')
    .option('--parts <file>', 'parts file (JSON) whose `fitted` to keep with the run')
    .option('--air <list>', 'air of the day: °C, kPa at the place, % humidity, e.g. 18,99.6,55')
    .option('--free-air <list>', 'sensor current in free air, mA, by bank, e.g. 2.54')
    .option('--title <text>', 'title of the run')
    .option('--json', 'print what was read as a JSON object')
    .action(async (path: string, flags: ImportFlags) => {
      const { importLog } = await import('../import/importLog.ts')
      const map = await readMapFile(flags.map)
      const records = await readRecords(flags)
      const progress = createProgress(path)
      try {
        const report = await importLog(path, map, flags.out, {
          app: `floatbowl ${packageJson.version}`,
          records,
          ...(flags.at === undefined ? {} : { startMs: readTime(flags.at) }),
          onProgress: (share) => progress.update(share),
        })
        progress.end()
        await tell(path, report)
        if (flags.json) await print(JSON.stringify(report))
      } catch (error) {
        if (error instanceof CommandFailure) throw error
        throw new CommandFailure(errorText(error))
      } finally {
        progress.end()
      }
    })
}

async function readRecords(flags: ImportFlags): Promise<CaptureRecord[]> {
  const { readCarFile, readPartsFile } = await import('./runParts.ts')
  const records: CaptureRecord[] = []
  if (flags.car !== undefined) records.push({ type: 'car', car: await readCarFile(flags.car) })
  if (flags.parts !== undefined) {
    const { fitted } = await readPartsFile(flags.parts)
    if (fitted) records.push({ type: 'fitted', fitted })
  }
  if (flags.air !== undefined) records.push({ type: 'air', ...readAir(flags.air) })
  if (flags.freeAir !== undefined) records.push(...readFreeAir(flags.freeAir))
  if (flags.title !== undefined) records.push({ type: 'title', text: flags.title.slice(0, 200) })
  return records
}

function readAir(text: string) {
  const [temperature_C, pressure_kPa, humidity_pct, ...more] = text.split(',').map(Number)
  const air = airSchema.safeParse({ temperature_C, pressure_kPa, humidity_pct, source: 'import' })
  if (air.success && more.length === 0) return air.data
  throw new CommandFailure(
    `invalid --air: ${text} (expected °C, kPa at the place, % humidity, e.g. 18,99.6,55)`,
    2,
  )
}

function readFreeAir(text: string): CaptureRecord[] {
  const currents = text.split(',').map(Number)
  if (currents.length > 2 || !currents.every((mA) => mA > 0 && mA < 20)) {
    throw new CommandFailure(`invalid --free-air: ${text} (expected mA, e.g. 2.54, or 2.54,2.61)`, 2)
  }
  return currents.map((current_mA, i) => ({ type: 'free_air', bank: i + 1, current_mA }))
}

function readTime(text: string): number {
  const ms = Date.parse(text)
  if (!Number.isNaN(ms) && /^\d{4}-\d{2}-\d{2}/.test(text)) return ms
  throw new CommandFailure(`invalid --at: ${text} (expected ISO 8601, e.g. 2026-05-17T08:12:03+02:00)`, 2)
}

/** Out of range by more than this share, a channel is taken for another. */
const swappedShare = 0.5

async function tell(path: string, report: ImportReport): Promise<void> {
  const { describeMisfit } = await import('../import/importLog.ts')
  const { samples, lines, seconds, unfit, first_unfit, first_out_of_range } = report
  say(`${path}: ${lines} lines, ${samples} samples over ${seconds.toFixed(1)} s`)
  if (unfit > 0 && first_unfit)
    say(`  ${unfit} lines do not fit the map; the first, ${describeMisfit(first_unfit)}`)
  const outside = report.channels.filter((channel) => channel.out_of_range > 0)
  for (const { channel, out_of_range } of outside) {
    const swapped = out_of_range > swappedShare * samples ? ': is it another column?' : ''
    say(`  ${channel}: ${out_of_range} values are not believable and left out${swapped}`)
  }
  if (first_out_of_range) say(`  the first, ${describeMisfit(first_out_of_range)}`)
  const silent = report.channels.filter((channel) => channel.readings === 0)
  if (silent.length > 0) say(`  no reading at all of ${silent.map(({ channel }) => channel).join(', ')}`)
  if (report.clock_jumps > 0) say(`  the log's clock went back ${report.clock_jumps} times`)
  if (report.start_from === 'file_date')
    say(`  start taken from the date of the file: ${report.start} (--at TIME to say it)`)
}
