import type { Command } from 'commander'
import { fileProblem } from '../bridgeError.ts'
import { CommandFailure, createProgress, print, say } from './commandVoice.ts'

export function registerCheck(program: Command): void {
  program
    .command('check')
    .description('integrity of a run: lines, bad checksums, missing samples, torn end')
    .argument('<run...>', 'capture files')
    .option('--json', 'one JSON object a run and line')
    .action(async (paths: string[], flags: { json?: boolean }) => {
      const { checkRun } = await import('../checkRun.ts')
      let failed = 0
      for (const path of paths) {
        const progress = createProgress(path)
        try {
          const report = await checkRun(path, (share) => progress.update(share))
          progress.end()
          await print(flags.json ? JSON.stringify(report) : formatReport(report))
        } catch (error) {
          progress.end()
          failed++
          say(`floatbowl: ${fileProblem(path, error)}`)
        }
      }
      if (failed > 0) throw new CommandFailure(`${failed} of ${paths.length} files could not be read`)
    })
}

type Report = Awaited<ReturnType<typeof import('../checkRun.ts').checkRun>>

function formatReport(report: Report): string {
  const rows: [string, string | number][] = [
    ['file', report.file],
    ['length', `${report.seconds.toFixed(1)} s`],
    ['lines', report.lines],
    ['samples', report.samples],
    ['bad checksums', report.bad_checksum],
    ['unreadable lines', report.unreadable],
    ['missing samples', report.missing_samples],
    ['gaps', report.gaps.length],
    ['board restarts', report.restarts],
    ['damaged lines of the file', report.corrupt_lines],
    ['damaged records', report.invalid_records],
    ['torn end', report.torn_end ? 'yes: the last line was cut off and is left out' : 'no'],
    ['verdict', report.verdict],
  ]
  const width = Math.max(...rows.map(([name]) => name.length))
  return rows.map(([name, value]) => `${name.padEnd(width)}  ${value}`).join('\n')
}
