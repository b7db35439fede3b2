import { execFile } from 'node:child_process'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { cpus, tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { boardHour, capturedHour } from './boardHour.ts'

/*
 * Decoding one hour at 100 Hz with 16 channels, against a bare newline scan of the same bytes, pandas reading the same file without checking, and
 * the wire. Times are processor time, the least of some repeats. Prints numbers; there is no pass or fail.
 */

/** 921600 baud, ten bits a byte. */
const wireBytesPerS = 92_160
const repeats = 7
/** As a serial port or a file stream hands bytes on. */
const pieceBytes = 4096

const run = promisify(execFile)

/** Least processor time of some repeats: what the work itself takes, also on a machine that has other things to do. */
function leastCpuSeconds(work: () => void): number {
  let least = Number.POSITIVE_INFINITY
  for (let i = 0; i < repeats; i++) {
    const start = process.cpuUsage()
    work()
    const { user, system } = process.cpuUsage(start)
    least = Math.min(least, (user + system) / 1e6)
  }
  return least
}

function countLines(bytes: Uint8Array): number {
  let lines = 0
  for (let at = bytes.indexOf(10); at >= 0; at = bytes.indexOf(10, at + 1)) lines++
  return lines
}

function decode(bytes: Uint8Array, arrivals: (at: number) => number): number {
  let samples = 0
  const decoder = createBoardDecoder({
    emit: {
      block: (block) => {
        samples += block.count
      },
    },
  })
  for (let at = 0; at < bytes.length; at += pieceBytes) {
    decoder.push(bytes.subarray(at, at + pieceBytes), arrivals(at + pieceBytes))
  }
  decoder.flush()
  return samples
}

/** Processor seconds pandas takes to read a file of comma-separated fields, least of some; undefined when it cannot be imported. */
async function pandasSeconds(path: string): Promise<number | undefined> {
  const program = `
import sys, time
import pandas
def once():
    start = time.process_time()
    pandas.read_csv(sys.argv[1], header=None, names=range(int(sys.argv[2])))
    return time.process_time() - start
print(min(once() for _ in range(4)))`
  try {
    const columns = path.endsWith('.lines') ? '19' : '18'
    return Number((await run('/usr/bin/python3', ['-c', program, path, columns])).stdout)
  } catch (error) {
    console.log(`pandas: not measured (${String(error).split('\n')[0]})`)
    return undefined
  }
}

function row(name: string, seconds: number, bytes: number, more = ''): void {
  const rate = bytes / seconds
  const wires = Math.round(rate / wireBytesPerS)
  console.log(
    `${name.padEnd(38)} ${(seconds * 1000).toFixed(0).padStart(6)} ms  ${(rate / 1e6).toFixed(0).padStart(5)} MB/s  ${String(wires).padStart(6)} × wire  ${more}`,
  )
}

const hour = boardHour()
const folder = await mkdtemp(join(tmpdir(), 'floatbowl-bench-'))
try {
  console.log(`${cpus()[0].model}, ${cpus().length} processors, Node ${process.version}`)
  console.log(
    `one hour, 100 Hz, 16 channels: ${hour.samples} samples, ${(hour.bytes.length / 1e6).toFixed(1)} MB`,
  )

  const scanS = leastCpuSeconds(() => countLines(hour.bytes))
  row('newline scan', scanS, hour.bytes.length)

  const secondsPerByte = 3600 / hour.bytes.length
  let samples = 0
  const decodeS = leastCpuSeconds(() => {
    samples = decode(hour.bytes, (at) => at * secondsPerByte)
  })
  if (samples !== hour.samples) throw new Error(`decoded ${samples} of ${hour.samples} samples`)
  row(
    'decode, checksum checked',
    decodeS,
    hour.bytes.length,
    `${(decodeS / scanS).toFixed(1)} × newline scan`,
  )

  for (const [file, bytes] of [
    ['hour.lines', hour.bytes],
    ['numbers-only.csv', hour.sampleTable],
  ] as const) {
    const path = join(folder, file)
    await writeFile(path, bytes)
    const pandasS = await pandasSeconds(path)
    if (pandasS === undefined) break
    const ratio = bytes.length / pandasS / (hour.bytes.length / decodeS)
    row(
      `pandas read_csv of ${file}`,
      pandasS,
      bytes.length,
      `decode reads ${(1 / ratio).toFixed(1)} × as fast`,
    )
  }

  const capture = capturedHour(hour)
  const captureS = leastCpuSeconds(() => scanCapture(capture))
  row(
    'scanCapture to whole columns, warm',
    captureS,
    capture.length,
    `${(3600 / captureS).toFixed(0)} × real time`,
  )

  const capturePath = join(folder, 'hour.capture')
  await writeFile(capturePath, capture)
  const scanFile = new URL('scanFile.ts', import.meta.url).pathname
  const cold = JSON.parse((await run(process.execPath, ['--import', 'tsx', scanFile, capturePath])).stdout)
  if (cold.samples !== hour.samples) throw new Error(`scanned ${cold.samples} of ${hour.samples} samples`)
  row(
    'scanCapture in a fresh process',
    cold.seconds,
    capture.length,
    `${(3600 / cold.seconds).toFixed(0)} × real time`,
  )
  const columnBytes = hour.samples * (8 + 16 * 4)
  console.log(
    `that process took ${(cold.peakBytes / 1e6).toFixed(0)} MB at most, of it the file ${(capture.length / 1e6).toFixed(0)} MB and columns ${(columnBytes / 1e6).toFixed(0)} MB`,
  )
} finally {
  await rm(folder, { recursive: true })
}
