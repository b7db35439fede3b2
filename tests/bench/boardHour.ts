import { captureHeader } from '../../core/capture/formatCapture.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'

/** One hour of a board's lines, made up: 16 channels that wander, seeded. */
export interface BoardHour {
  bytes: Uint8Array
  samples: number
  /** The sample lines alone, without letter and checksum, as another program would read them: seq, tick, values. */
  sampleTable: Uint8Array
}

const rateHz = 100
const ticksPerSecond = 1_000_000

/** Name, unit, scale, first value, largest step between samples. */
const channels: readonly (readonly [string, string, number, number, number])[] = [
  ['pump_current', 'mA', 0.001, -120, 9],
  ['cell_resistance', 'ohm', 0.1, 3000, 12],
  ['heater_duty', '%', 0.1, 420, 5],
  ['engine_speed', 'rpm', 0.25, 8000, 60],
  ['throttle', '%', 0.01, 1800, 40],
  ['manifold_pressure', 'kPa', 0.01, 5200, 45],
  ['barometer', 'kPa', 0.01, 10_010, 1],
  ['coolant', 'C', 0.1, 820, 1],
  ['intake_air', 'C', 0.1, 310, 1],
  ['oil_pressure', 'kPa', 0.1, 3100, 20],
  ['fuel_pressure', 'kPa', 0.1, 350, 3],
  ['exhaust_temperature', 'C', 1, 640, 3],
  ['supply', 'V', 0.001, 13_800, 30],
  ['road_speed', 'km/h', 0.01, 8200, 12],
  ['input_1', 'V', 0.0001, 12_000, 50],
  ['input_2', 'V', 0.0001, 31_000, 50],
]

/** Small seeded generator, 0 … 1 (a linear congruence of 32 bit with the top bits used). */
function seededRandom(seed: number): () => number {
  let state = seed >>> 0
  return () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return (state >>> 8) / 2 ** 24
  }
}

export function boardHour({ hours = 1, seed = 1 } = {}): BoardHour {
  const random = seededRandom(seed)
  const samples = Math.round(hours * 3600 * rateHz)
  const declarations = [
    encodeLine({
      kind: 'identity',
      version: 1,
      boardName: 'bench board',
      firmware: '0.3',
      uniqueId: '7f3a',
      ticksPerSecond,
    }),
    ...channels.map(([name, unit, scale], index) =>
      encodeLine({ kind: 'channel', index, name, unit, scale, offset: 0 }),
    ),
  ]
  const chunks: string[] = [`${declarations.join('\n')}\n`]
  const table: string[] = []
  const values = channels.map(([, , , first]) => first)
  for (let i = 0; i < samples; i++) {
    // One declaration in turn every 250 ms, as a board does.
    if (i % (rateHz / 4) === 0) chunks.push(`${declarations[(i / (rateHz / 4)) % declarations.length]}\n`)
    for (let c = 0; c < channels.length; c++) {
      const [, , , first, step] = channels[c]
      // A walk that is drawn back to where it began.
      values[c] += Math.round((random() - 0.5) * 2 * step - (values[c] - first) * 0.01)
    }
    const tick = (i * (ticksPerSecond / rateHz)) % 2 ** 32
    const line = encodeLine({ kind: 'sample', seq: i & 0xffff, tick, values })
    chunks.push(`${line}\n`)
    table.push(`${line.slice(2, -5)}\n`)
  }
  return { bytes: Buffer.from(chunks.join('')), samples, sampleTable: Buffer.from(table.join('')) }
}

/** The same lines as a recorder writes them, each with the time at which it came. */
export function capturedHour(hour: BoardHour): Uint8Array {
  const lines = Buffer.from(hour.bytes).toString('latin1').split('\n')
  lines.pop()
  let samples = 0
  const parts = [
    `${captureHeader}\n`,
    '0.000000 = {"type":"start","at":"2026-05-09T10:00:00+02:00","car":"marigold"}\n',
  ]
  for (const line of lines) {
    if (line[0] === 'S') samples++
    parts.push(`${(samples / rateHz + 0.004).toFixed(6)} <0 ${line}\n`)
  }
  return Buffer.from(parts.join(''))
}
