import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { cars } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'
import { measureCommand } from './measureCommand.ts'

/*
 * `analyse` and the partitioned Parquet `export` over a season of runs in one command each: clock, processor time a run, and the greatest memory.
 * Needs the build. Prints numbers; there is no pass or fail.
 *
 * Usage: npx tsx tests/bench/season.ts [RUNS] [SECONDS]
 */

const runCount = Number(process.argv[2] ?? 200)
const seconds = Number(process.argv[3] ?? 120)
const dayMs = 86_400_000
const firstDayMs = Date.UTC(2026, 2, 1, 9)

const folder = await mkdtemp(join(tmpdir(), 'season-bench-'))
try {
  const paths: string[] = []
  for (let i = 0; i < runCount; i++) {
    const at = new Date(firstDayMs + Math.floor(i / cars.length) * dayMs).toISOString()
    const car = cars[i % cars.length]
    const { bytes } = simulateRun({ car, drive: 'traffic', seconds, seed: i, at })
    const path = join(folder, `${car.name}-${i}.capture`)
    await writeFile(path, bytes)
    paths.push(path)
  }
  console.log(`season of ${runCount} runs of ${seconds} s      clock s   processor s a run   memory MB`)
  const season = join(folder, 'season')
  for (const [name, words] of [
    ['analyse', ['analyse', ...paths, '--json']],
    ['export to a Parquet folder', ['export', ...paths, '--to', 'parquet', '--out', season]],
  ] as const) {
    const { wallS, cpuS, memoryMb } = await measureCommand(words)
    console.log(
      `${name.padEnd(32)} ${wallS.toFixed(1).padStart(8)} ${(cpuS / runCount).toFixed(2).padStart(19)} ${memoryMb.toFixed(0).padStart(11)}`,
    )
  }
} finally {
  await rm(folder, { recursive: true })
}
