import { crc16 } from '../../core/line/crc16.ts'
import { cars } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'

const rateHz = 100
const ticksPerSecond = 1_000_000
const cycleS = 600
/** A declaration is slipped in after so many samples, as the format asks. */
const declareEvery = 25

/** A board that drives the same ten simulated minutes over and over, with its clock and its numbers going on and wrapping as a board's do. */
export interface EndlessBoard {
  /** The lines that are due until this moment. */
  until(timeS: number): Uint8Array
}

export function createEndlessBoard(): EndlessBoard {
  const { bytes } = simulateRun({
    car: cars[0],
    drive: 'good',
    seconds: cycleS,
    channels: 'sixteen',
    rateHz,
    seed: 7,
  })
  const lines = new TextDecoder('latin1')
    .decode(bytes)
    .split('\n')
    .flatMap((line) => / <0 (.*)$/.exec(line)?.[1] ?? [])
  const declarations = lines
    .filter((line) => /^[IC],/.test(line))
    .filter((line, i, all) => all.indexOf(line) === i)
  /** Values of each sample as they stand in its line. */
  const values = lines.flatMap((line) => /^S,\d+,\d+(,.*)\*[0-9A-F]{4}$/.exec(line)?.[1] ?? [])
  const ticks = ticksPerSecond / rateHz
  const encoder = new TextEncoder()
  let sent = 0
  return {
    until(timeS) {
      let text = sent === 0 ? declarations.map((line) => `${line}\n`).join('') : ''
      for (; sent < timeS * rateHz; sent++) {
        const body = `S,${sent % 65_536},${(sent * ticks) % 2 ** 32}${values[sent % values.length]}`
        text += `${body}*${crc16(body).toString(16).toUpperCase().padStart(4, '0')}\n`
        if (sent % declareEvery === 0)
          text += `${declarations[(sent / declareEvery) % declarations.length]}\n`
      }
      return encoder.encode(text)
    },
  }
}
