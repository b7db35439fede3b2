import { appendFile, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { cars } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'
import { measureCommand } from './measureCommand.ts'

/*
 * Speed and memory of `floatbowl analyse` from process start to exit, for runs from one minute to ten hours at 100 Hz with 16 channels. Needs the build.
 * Prints numbers; there is no pass or fail. Processor time stands beside the clock, since the machine may have other things to do.
 */

const blockS = 600
const lengthsS = [60, 600, 3600, 7200, 36_000]

/** A run of some length out of one simulated ten minutes, repeated with its times and sequence moved on. */
async function writeRun(path: string, seconds: number): Promise<void> {
  const { bytes } = simulateRun({
    car: cars[0],
    drive: 'traffic',
    seconds: Math.min(seconds, blockS),
    channels: 'sixteen',
    rateHz: 100,
    seed: 7,
  })
  const text = new TextDecoder('latin1').decode(bytes)
  await writeFile(path, bytes)
  const body = text.slice(text.indexOf('\n') + 1)
  const lines = body.split('\n').filter((line) => line.includes(' <0 S,'))
  for (let shiftS = blockS; shiftS < seconds; shiftS += blockS) {
    const moved = lines.map((line) => {
      const space = line.indexOf(' ')
      return `${(Number(line.slice(0, space)) + shiftS).toFixed(6)}${line.slice(space)}`
    })
    await appendFile(path, `${moved.join('\n')}\n`)
  }
}

const folder = await mkdtemp(join(tmpdir(), 'analyse-bench-'))
try {
  console.log('analyse, process start to exit        clock s   processor s   × real time   memory MB')
  for (const seconds of lengthsS) {
    const path = join(folder, `${seconds}.capture`)
    await writeRun(path, seconds)
    const { wallS, cpuS, memoryMb } = await measureCommand(['analyse', path, '--json'])
    console.log(
      `${(seconds < 3600 ? `${seconds / 60} min` : `${seconds / 3600} h`).padEnd(36)} ${wallS.toFixed(2).padStart(8)} ${cpuS.toFixed(2).padStart(13)} ${(seconds / wallS).toFixed(0).padStart(13)} ${memoryMb.toFixed(0).padStart(11)}`,
    )
    await rm(path)
  }
} finally {
  await rm(folder, { recursive: true })
}
