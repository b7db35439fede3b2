import { spawn } from 'node:child_process'
import { appendFile, mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { cars } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'

/*
 * Speed and memory of `floatbowl analyse` from process start to exit, for runs from one minute to ten hours at 100 Hz with 16 channels. Needs the build.
 * Prints numbers; there is no pass or fail. Processor time stands beside the clock, since the machine may have other things to do.
 */

const program = fileURLToPath(new URL('../../dist/node/floatbowl.js', import.meta.url))
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

/** Runs the command and measures it; memory is the greatest resident set that the process itself reports. */
function measure(path: string): Promise<{ wallS: number; cpuS: number; memoryMb: number }> {
  return new Promise((resolve, reject) => {
    const start = performance.now()
    const report =
      'process.on("exit",()=>{const u=process.resourceUsage();process.stderr.write(JSON.stringify({cpuS:(u.userCPUTime+u.systemCPUTime)/1e6,memoryMb:u.maxRSS/1024}))})'
    const child = spawn(
      process.execPath,
      ['--import', `data:text/javascript,${encodeURIComponent(report)}`, program, 'analyse', path, '--json'],
      { stdio: ['ignore', 'ignore', 'pipe'] },
    )
    let text = ''
    child.stderr.on('data', (chunk) => {
      text += chunk
    })
    child.on('error', reject)
    child.on('close', (code) => {
      if (code !== 0) reject(new Error(`analyse ended with ${code}: ${text}`))
      else
        resolve({
          wallS: (performance.now() - start) / 1000,
          ...JSON.parse(text.slice(text.lastIndexOf('{'))),
        })
    })
  })
}

const folder = await mkdtemp(join(tmpdir(), 'analyse-bench-'))
try {
  console.log('analyse, process start to exit        clock s   processor s   × real time   memory MB')
  for (const seconds of lengthsS) {
    const path = join(folder, `${seconds}.capture`)
    await writeRun(path, seconds)
    const { wallS, cpuS, memoryMb } = await measure(path)
    console.log(
      `${(seconds < 3600 ? `${seconds / 60} min` : `${seconds / 3600} h`).padEnd(36)} ${wallS.toFixed(2).padStart(8)} ${cpuS.toFixed(2).padStart(13)} ${(seconds / wallS).toFixed(0).padStart(13)} ${memoryMb.toFixed(0).padStart(11)}`,
    )
    await rm(path)
  }
} finally {
  await rm(folder, { recursive: true })
}
