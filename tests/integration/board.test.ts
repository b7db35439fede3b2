import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { SerialPort } from 'serialport'
import { describe, expect, test } from 'vitest'
import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { createAvrBoard } from '../support/avr.ts'
import { openPty } from '../support/pty.ts'

const folder = join(import.meta.dirname, '../../bridge/board')
const hex = readFileSync(join(folder, 'board.hex'), 'utf8')
const ticksPerSecond = 2_000_000
// One step of the ten-bit converter at its pin; the simulated converter rounds down.
const stepV = 5 / 1024

// An own reading of the format, written from its description: the firmware is not judged by the code that it is meant to feed.
function crc16Bitwise(text: string): string {
  let crc = 0xffff
  for (const character of text) {
    crc ^= character.charCodeAt(0) << 8
    for (let bit = 0; bit < 8; bit++) crc = (crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1) & 0xffff
  }
  return crc.toString(16).toUpperCase().padStart(4, '0')
}

interface Line {
  kind: string
  fields: string[]
}

/** Splits the board's output; a cut last line is left out. Throws on a line whose checksum does not match. */
function readLines(output: string): Line[] {
  const texts = output.split('\n').slice(0, -1)
  return texts.map((text) => {
    const star = text.lastIndexOf('*')
    const body = text.slice(0, star)
    if (star < 0 || text.slice(star + 1) !== crc16Bitwise(body)) throw new Error(`bad checksum: ${text}`)
    if (text.length + 1 > 250) throw new Error(`too long: ${text}`)
    const [kind, ...fields] = body.split(',')
    return { kind, fields }
  })
}

interface Sample {
  seq: number
  tick: number
  values: Record<string, number>
}

function readSamples(lines: Line[]): Sample[] {
  const declared = new Map<number, { name: string; scale: number; offset: number }>()
  for (const { kind, fields } of lines)
    if (kind === 'C')
      declared.set(Number(fields[0]), {
        name: fields[1],
        scale: Number(fields[3]),
        offset: Number(fields[4]),
      })
  return lines
    .filter((line) => line.kind === 'S')
    .map(({ fields }) => {
      const values: Record<string, number> = {}
      fields.slice(2).forEach((field, index) => {
        const channel = declared.get(index)!
        values[channel.name] = field === '' ? Number.NaN : Number(field) * channel.scale + channel.offset
      })
      return { seq: Number(fields[0]), tick: Number(fields[1]), values }
    })
}

/** A board with a healthy supply, run for its first quarter of a second so that everything is declared. */
function startBoard() {
  const board = createAvrBoard(hex)
  board.setVolts(0, 13.8 / 4)
  board.run(0.25)
  return { board, declarations: readLines(board.take()).filter((line) => 'IC'.includes(line.kind)) }
}

function runSamples(started: ReturnType<typeof startBoard>, seconds: number): Sample[] {
  started.board.run(seconds)
  return readSamples([...started.declarations, ...readLines(started.board.take())])
}

const rpmOf = (samples: Sample[]) => samples.map((sample) => sample.values.engine_speed)

describe('lines', () => {
  test('says at power-up who it is and what each channel means', () => {
    const { declarations } = startBoard()
    expect(declarations[0]).toEqual({
      kind: 'I',
      fields: ['1', 'eight input board', '1.0', '0001', '2000000'],
    })
    const names = declarations.filter((line) => line.kind === 'C').map((line) => line.fields.slice(0, 3))
    expect(names.slice(0, 9)).toEqual([
      ['0', 'supply', 'V'],
      ['1', 'input_1', 'V'],
      ['2', 'input_2', 'V'],
      ['3', 'input_3', 'V'],
      ['4', 'input_4', 'V'],
      ['5', 'input_5', 'V'],
      ['6', 'input_6', 'V'],
      ['7', 'input_7', 'V'],
      ['8', 'engine_speed', 'rpm'],
    ])
  })

  test('the declared scale is the reference voltage over the full scale, times the divider', () => {
    const { declarations } = startBoard()
    const scale = (name: string) => Number(declarations.find((line) => line.fields[1] === name)!.fields[3])
    expect(scale('input_1')).toBeCloseTo(5 / 16384, 12)
    expect(scale('supply')).toBeCloseTo((5 / 16384) * 4, 12)
  })

  test('every line of four seconds has a right checksum and none is longer than the format allows', () => {
    const { board } = startBoard()
    board.setVolts(3, (timeS) => 2.5 + 2.5 * Math.sin(timeS * 40))
    board.spin(4000, 2, 0.3, 4)
    board.run(4)
    const lines = readLines(board.take())
    expect(lines.filter((line) => line.kind === 'S').length).toBeGreaterThanOrEqual(198)
  })

  test('repeats one declaration in turn at least every 250 ms, and all of them within three seconds', () => {
    const board = createAvrBoard(hex)
    board.setVolts(0, 3.4)
    board.run(1)
    board.take()
    const moments: number[] = []
    const turn: string[] = []
    for (let i = 0; i < 300; i++) {
      board.run(0.01)
      for (const text of board.take().split('\n'))
        if (/^[IC],/.test(text)) {
          moments.push(board.timeS)
          turn.push(text.split(',').slice(0, 2).join())
        }
    }
    const gaps = moments.slice(1).map((moment, i) => moment - moments[i])
    expect(Math.max(...gaps)).toBeLessThanOrEqual(0.25)
    expect(new Set(turn).size).toBe(10)
  })

  test('a sample is stamped with the middle of the time over which its values are means', () => {
    const started = startBoard()
    // A ramp: a mean over [t − 20 ms, t) equals the ramp's value at t − 10 ms.
    started.board.setVolts(4, (timeS) => 4 * timeS)
    const samples = runSamples(started, 0.8).slice(2)
    for (const { tick, values } of samples)
      expect(Math.abs(values.input_4 - 4 * (tick / ticksPerSecond))).toBeLessThan(0.02)
  })
})

describe('analogue inputs', () => {
  test('each input is read in volts at its own pin, to one step of the converter', () => {
    const started = startBoard()
    const wanted = [12.6, 0.4, 1.1, 1.85, 2.5, 3.3, 4.05, 4.9]
    wanted.forEach((volts, pin) => {
      started.board.setVolts(pin, pin === 0 ? volts / 4 : volts)
    })
    const { values } = runSamples(started, 0.2).at(-1)!
    expect(Math.abs(values.supply - wanted[0])).toBeLessThanOrEqual(4 * stepV)
    for (let i = 1; i < 8; i++) expect(Math.abs(values[`input_${i}`] - wanted[i])).toBeLessThanOrEqual(stepV)
  })

  test('averaging resolves less than one step when the signal carries a little noise', () => {
    const started = startBoard()
    // 2.0 V lies between two steps; a triangle of one step's height visits both in proportion.
    const triangle = (timeS: number) => Math.abs(((timeS * 333) % 1) - 0.5) * 2 * stepV
    const read = (volts: number) => {
      started.board.setVolts(2, (timeS) => volts + triangle(timeS))
      const samples = runSamples(started, 1).slice(2)
      return samples.reduce((sum, sample) => sum + sample.values.input_2, 0) / samples.length
    }
    const difference = read(2.0 + stepV / 4) - read(2.0)
    expect(difference).toBeGreaterThan(stepV / 8)
    expect(difference).toBeLessThan((stepV * 3) / 8)
  })

  test('a voltage beyond the range stays at its end and does not spill into the next input', () => {
    const started = startBoard()
    started.board.setVolts(5, 7)
    started.board.setVolts(6, -1)
    const { values } = runSamples(started, 0.2).at(-1)!
    expect(values.input_5).toBeCloseTo((5 * 1023) / 1024, 3)
    expect(values.input_6).toBe(0)
  })
})

describe('engine speed', () => {
  for (const rpm of [150, 800, 3000, 7500])
    test(`reads ${rpm} rpm from two pulses a turn within half a per cent`, () => {
      const started = startBoard()
      started.board.spin(rpm, 2, 0.3, 2.4)
      for (const value of rpmOf(runSamples(started, 2.1).slice(-50))) {
        expect(value).toBeGreaterThan(rpm * 0.995)
        expect(value).toBeLessThan(rpm * 1.005)
      }
    })

  test('is zero without pulses and returns to zero within a second after the last one, falling on the way', () => {
    const started = startBoard()
    expect(Math.max(...rpmOf(runSamples(started, 0.5)))).toBe(0)
    started.board.spin(900, 2, 0.8, 1.8)
    const running = rpmOf(runSamples(started, 1.1))
    expect(Math.abs(running.at(-8)! - 900)).toBeLessThan(5)
    const after = rpmOf(runSamples(started, 1))
    expect(after.at(-1)).toBe(0)
    for (let i = 1; i < after.length; i++) expect(after[i]).toBeLessThanOrEqual(after[i - 1] + 0.1)
  })

  test('follows a fast rise of speed without dropping out', () => {
    const started = startBoard()
    let timeS = 0.3
    const truth: { timeS: number; rpm: number }[] = []
    while (timeS < 2.3) {
      const rpm = 800 + Math.max(0, timeS - 1) * 4000
      truth.push({ timeS, rpm })
      started.board.pulseAt(timeS)
      timeS += 30 / rpm
    }
    const samples = runSamples(started, 2).filter((sample) => sample.tick / ticksPerSecond > 0.6)
    for (const { tick, values } of samples) {
      const now = truth.findLast((entry) => entry.timeS <= tick / ticksPerSecond)!
      expect(values.engine_speed).toBeGreaterThan(now.rpm * 0.85)
      expect(values.engine_speed).toBeLessThan(now.rpm * 1.1)
    }
  })

  test('ringing after each pulse is rejected', () => {
    const started = startBoard()
    for (let i = 0; i < 100; i++)
      for (const ring of [0, 0.0002, 0.0005, 0.0011, 0.0019])
        started.board.pulseAt(0.3 + i * 0.02 + ring, 0.00005)
    for (const value of rpmOf(runSamples(started, 2).slice(-60)))
      expect(Math.abs(value - 1500)).toBeLessThan(8)
  })

  test('spikes shorter than four clock cycles are not seen by the capture unit', () => {
    const started = startBoard()
    for (let i = 0; i < 400; i++) started.board.pulseAt(0.3 + i * 0.004, 0.0000001)
    expect(Math.max(...rpmOf(runSamples(started, 1.5)))).toBe(0)
  })

  test('false pulses between the true ones do not move the reading', () => {
    const started = startBoard()
    const periodS = 0.025
    for (let i = 0; i < 80; i++) {
      started.board.pulseAt(0.3 + i * periodS)
      // One period in four is split at a place that wanders through it.
      if (i % 4 === 2) started.board.pulseAt(0.3 + (i + 0.2 + ((i * 0.13) % 0.6)) * periodS, 0.0001)
    }
    const readings = rpmOf(runSamples(started, 2).slice(-75))
    const steady = readings.filter((value) => Math.abs(value - 1200) < 12)
    expect(steady.length / readings.length).toBeGreaterThan(0.8)
    // While only the first part of a split period is known it may pass for a short one; never for a half.
    for (const value of readings) {
      expect(value).toBeGreaterThan(1200 * 0.7)
      expect(value).toBeLessThan(1200 * 1.3)
    }
  })

  test('a missing pulse now and then does not halve the reading', () => {
    const started = startBoard()
    for (let i = 0; i < 200; i++) if (i % 7 !== 3) started.board.pulseAt(0.3 + i * 0.01)
    for (const value of rpmOf(runSamples(started, 2).slice(-60)))
      expect(Math.abs(value - 3000)).toBeLessThan(15)
  })

  test('a stray pair of edges on a standing engine is no speed', () => {
    const started = startBoard()
    started.board.pulseAt(0.5)
    started.board.pulseAt(0.53)
    expect(Math.max(...rpmOf(runSamples(started, 1.5)))).toBe(0)
  })
})

describe('commands', () => {
  const answersOf = (lines: Line[]) => lines.filter((line) => line.kind === 'A').map((line) => line.fields)

  test('? brings the identity and every channel within half a second', () => {
    const { board } = startBoard()
    board.send('?\n')
    board.run(0.5)
    const lines = readLines(board.take())
    expect(answersOf(lines)).toEqual([['?', 'ok', 'identity follows']])
    const told = new Set(
      lines.filter((line) => 'IC'.includes(line.kind)).map((line) => line.kind + line.fields[0]),
    )
    expect(told.size).toBe(10)
  })

  test('R sets the rate, keeps it across odd endings, and the sequence goes on', () => {
    const started = startBoard()
    for (const [command, hz] of [
      ['R,10\n', 10],
      ['R,100\r\n', 100],
      ['R,1\n', 1],
    ] as const) {
      started.board.send(command)
      started.board.run(0.1)
      started.board.take()
      const samples = runSamples(started, 2)
      expect(Math.abs(samples.length - hz * 2)).toBeLessThanOrEqual(1)
      for (let i = 1; i < samples.length; i++) expect(samples[i].seq).toBe(samples[i - 1].seq + 1)
    }
  })

  test('the highest rate it accepts is one the wire carries without loss, with every field at its longest', () => {
    const started = startBoard()
    const { board } = started
    for (let pin = 1; pin < 8; pin++) board.setVolts(pin, 5)
    board.send('R,999\n')
    board.run(0.1)
    const [[, verdict, text]] = answersOf(readLines(board.take()))
    expect(verdict).toBe('error')
    const highest = Number(text.match(/\d+$/)![0])
    expect(highest).toBeGreaterThan(100)
    board.send(`R,${highest}\n?\n`)
    board.run(0.2)
    board.take()
    board.spin(7800, 2, board.timeS, board.timeS + 3)
    board.run(3)
    const lines = readLines(board.take())
    const samples = readSamples([...started.declarations, ...lines])
    expect(samples.length).toBeGreaterThanOrEqual(highest * 3 - 2)
    for (let i = 1; i < samples.length; i++) expect(samples[i].seq).toBe(samples[i - 1].seq + 1)
    expect(lines.filter((line) => line.kind === 'E')).toEqual([])
  })

  test('a rate that is zero, too high, negative, missing or no number is refused and changes nothing', () => {
    const started = startBoard()
    for (const command of ['R,0', 'R,9999', 'R,65586', 'R,-5', 'R', 'R,', 'R,5x', 'R,1.5']) {
      started.board.send(`${command}\n`)
      started.board.run(0.2)
      const [[name, verdict]] = answersOf(readLines(started.board.take()))
      expect([name, verdict]).toEqual(['R', 'error'])
    }
    expect(Math.abs(runSamples(started, 1).length - 50)).toBeLessThanOrEqual(1)
  })

  test('Z is answered: this board has no cell of its own', () => {
    const { board } = startBoard()
    board.send('Z\n')
    board.run(0.2)
    expect(answersOf(readLines(board.take()))).toEqual([
      ['Z', 'error', 'this board has no pump current to read'],
    ])
  })

  test('unknown, over-long and binary commands are refused in a line that stays well formed', () => {
    const { board } = startBoard()
    board.send('bad,*%\n\x01\x02\xff\n')
    board.run(0.3)
    expect(answersOf(readLines(board.take())).map((fields) => fields.slice(0, 2))).toEqual([
      ['bad%2C%2A%25', 'error'],
      ['%01%02%FF', 'error'],
    ])
    board.send(`${'x'.repeat(500)}\n\n\nZ\n`)
    board.run(0.5)
    const answers = answersOf(readLines(board.take()))
    expect(answers.map((fields) => [fields[1], fields[2]])).toEqual([
      ['error', 'too long'],
      ['error', 'this board has no pump current to read'],
    ])
  })
})

describe('faults', () => {
  const notices = (lines: Line[]) => lines.filter((line) => line.kind === 'E').map((line) => line.fields)

  test('a low supply is told at once, again every second, and its end only above the higher limit', () => {
    const { board } = startBoard()
    board.run(1)
    expect(notices(readLines(board.take()))).toEqual([])
    board.setVolts(0, 9.5 / 4)
    board.run(0.5)
    const [first, ...more] = notices(readLines(board.take()))
    expect(more).toEqual([])
    expect(first[1]).toBe('supply_low')
    expect(Math.abs(Number(first[0]) / ticksPerSecond - 1.25)).toBeLessThan(0.5)
    board.run(3)
    const repeated = notices(readLines(board.take()))
    expect(repeated.map((fields) => fields[1])).toEqual(['supply_low', 'supply_low', 'supply_low'])
    expect(Math.abs(Number(repeated[2][2].replace(' mV', '')) - 9500)).toBeLessThan(30)
    // Between the limits it stays low.
    board.setVolts(0, 10.4 / 4)
    board.run(2)
    expect(notices(readLines(board.take())).every((fields) => fields[1] === 'supply_low')).toBe(true)
    board.setVolts(0, 12.5 / 4)
    board.run(2)
    const codes = notices(readLines(board.take())).map((fields) => fields[1])
    expect(codes.at(-1)).toBe('supply_good')
    expect(codes.filter((code) => code === 'supply_good').length).toBe(1)
  })

  test('a supply just below the limit for a moment, or within the gap, is no notice', () => {
    const { board } = startBoard()
    board.setVolts(0, (timeS) => (timeS % 1 < 0.01 ? 8 : 10.4) / 4)
    board.run(3)
    expect(notices(readLines(board.take()))).toEqual([])
  })

  test('when the wire stalls, whole samples are left out, the sequence shows it and a notice counts them', () => {
    const started = startBoard()
    started.board.send('R,100\n')
    started.board.run(0.2)
    started.board.take()
    started.board.slowWire(5)
    started.board.run(2)
    started.board.slowWire(1)
    started.board.run(1)
    const lines = readLines(started.board.take())
    const samples = readSamples([...started.declarations, ...lines])
    const told = notices(lines).filter((fields) => fields[1] === 'overrun_uart')
    const lost = told.reduce((sum, fields) => sum + Number(fields[2].match(/\d+/)![0]), 0)
    let missing = 0
    for (let i = 1; i < samples.length; i++) missing += samples[i].seq - samples[i - 1].seq - 1
    expect(missing).toBeGreaterThan(50)
    expect(lost).toBe(missing)
  })

  test('a hang of the converter restarts the board through the watchdog, and it says so', () => {
    const { board } = startBoard()
    board.run(1)
    board.take()
    board.stallConverter(true)
    board.run(0.7)
    board.stallConverter(false)
    board.run(0.7)
    // The restart may cut the line on the wire.
    const texts = board.take().split('\n').slice(0, -1)
    const whole = texts.filter((text) => {
      const star = text.lastIndexOf('*')
      return star > 0 && text.slice(star + 1) === crc16Bitwise(text.slice(0, star))
    })
    expect(texts.length - whole.length).toBeLessThanOrEqual(1)
    const lines = readLines(`${whole.join('\n')}\n`)
    expect(notices(lines).map((fields) => fields[1])).toEqual(['watchdog'])
    const restart = lines.findIndex((line) => line.kind === 'S' && line.fields[0] === '0')
    expect(lines.slice(0, restart).some((line) => line.kind === 'I')).toBe(true)
    expect(Number(lines.at(-1)!.fields[0])).toBeGreaterThan(10)
  })
})

describe('through a real serial line', () => {
  test('what the firmware sends arrives byte for byte at a serial port, and commands reach it', async () => {
    const pty = openPty()
    const port = new SerialPort({ path: pty.path, baudRate: 115200 })
    const received: Buffer[] = []
    port.on('data', (chunk: Buffer) => received.push(chunk))
    try {
      await new Promise((resolve, reject) => port.once('open', resolve).once('error', reject))
      let sent = ''
      const arrived = () => Buffer.concat(received).toString('latin1')
      const board = createAvrBoard(hex)
      board.setVolts(0, 3.5)
      board.setVolts(1, 1.25)
      board.run(0.001)
      board.spin(2000, 2, 0.5, 1.5)
      pty.master.on('data', (chunk: Buffer) => board.send(chunk.toString('latin1')))
      const step = async () => {
        board.run(0.1)
        const text = board.take()
        sent += text
        // Writing to the master blocks while the terminal's 4 kB are full, and the reader lives in this same process:
        // each piece must have arrived before the next.
        pty.master.write(text)
        await expect.poll(arrived, { interval: 2, timeout: 5000 }).toBe(sent)
      }
      for (let i = 0; i < 10; i++) await step()
      await new Promise((resolve) => port.write('R,25\n', resolve))
      for (let i = 0; i < 100 && !sent.includes('A,R,ok,25'); i++) await step()
      for (let i = 0; i < 10; i++) await step()
      const lines = readLines(arrived())
      const samples = readSamples(lines)
      expect(Math.abs(samples.at(-1)!.values.input_1 - 1.25)).toBeLessThanOrEqual(stepV)
      expect(samples.at(-1)!.tick - samples.at(-2)!.tick).toBeCloseTo(ticksPerSecond / 25, -3)
      const speeds: number[] = []
      const decoder = createBoardDecoder({
        emit: {
          block: ({ columns, count, channels }) =>
            speeds.push(
              ...columns[channels.findIndex(({ name }) => name === 'engine_speed')].subarray(0, count),
            ),
        },
      })
      decoder.push(Buffer.concat(received), 0)
      decoder.flush()
      expect(decoder.counts).toMatchObject({ lines: lines.length, samples: samples.length, badChecksum: 0 })
      expect(decoder.counts).toMatchObject({ unreadable: 0, undeclared: 0, missingSamples: 0, restarts: 0 })
      expect(speeds).toEqual(rpmOf(samples).map(Math.fround))
    } finally {
      await new Promise<void>((resolve) => (port.isOpen ? port.close(() => resolve()) : resolve()))
      pty.hangUp()
    }
  })
})

describe('the committed build', () => {
  const hasCompiler = spawnSync('avr-gcc', ['--version']).status === 0

  test.skipIf(!hasCompiler)('is what the source gives (skipped where gcc-avr is not installed)', () => {
    const out = mkdtempSync(join(tmpdir(), 'board-'))
    try {
      const built = spawnSync('make', ['-C', folder, `OUT=${out}`], { encoding: 'utf8' })
      expect(built.status, built.stderr).toBe(0)
      expect(readFileSync(join(out, 'board.hex'), 'utf8')).toBe(hex)
    } finally {
      rmSync(out, { recursive: true, force: true })
    }
  })
})
